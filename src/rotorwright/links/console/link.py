"""Everything that is asked of a running application by its text console, in the words of its dialect."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

from rotorwright.display.characters import CHARACTERS, parse_characters, print_characters
from rotorwright.errors import LinkError, RotorwrightError, SettingsError
from rotorwright.links.application import DISPLAY_FILE
from rotorwright.links.console.answers import (
    ConsoleAttitude,
    ConsoleBattery,
    attitude_told,
    battery_told,
    character_told,
    identity_told,
)
from rotorwright.links.console.errors import (
    AnswerCutError,
    AnswerNotUnderstoodError,
    ConsoleFileMissingError,
    ConsoleIdentityError,
    ConsoleRefusedError,
    ConsoleSettingMissingError,
    ConsoleSettingRefusedError,
    ConsoleSilentError,
    ListingNotUnderstoodError,
    ListingUnsureError,
    NoCatalogueError,
    NotInDialectError,
)
from rotorwright.links.console.places import Place, places_of
from rotorwright.links.console.session import Dialogue, End
from rotorwright.links.console.spec import HEARTBEAT, PARTING, READINGS, REFUSALS, RETURNS, TRIES, WRITES
from rotorwright.links.errors import NoAnswerError, StreamNotOfferedError
from rotorwright.settings.dialects.listing import parse_listing
from rotorwright.settings.dialects.typed import typed_settings

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterator, Mapping

    from rotorwright.links.application import Progress
    from rotorwright.links.console.session import Answer
    from rotorwright.links.readings import Reading, Stream
    from rotorwright.links.wire import Clock, Wire
    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.dialects.dialect import Dialect
    from rotorwright.settings.dialects.form import Form
    from rotorwright.settings.dialects.listing import Listing
    from rotorwright.settings.identity import Identity
    from rotorwright.settings.values import Value

_T = TypeVar("_T")


def no_catalogue(_identity: Identity) -> Catalogue | None:
    """Return no catalogue for any aircraft: every setting stays a text."""
    return None


class ConsoleLink:
    """One aircraft whose application offers a text console.

    Every method greets the console by itself first. Any may raise the LinkError of the wire when the port vanishes,
    ConsoleSilentError when no console is there, NoAnswerError or AnswerCutError when it stops answering, and
    NotInDialectError when the dialect does not say how.

    Args:
        wire: the open line.
        clock: the time that waits are measured in.
        dialect: what the console understands and says.
        catalogue_for: gives the catalogue of an aircraft, by which texts become values; None leaves them texts.
    """

    def __init__(
        self,
        wire: Wire,
        clock: Clock,
        dialect: Dialect,
        *,
        catalogue_for: Callable[[Identity], Catalogue | None] = no_catalogue,
    ) -> None:
        self._wire = wire
        self._clock = clock
        self._dialect = dialect
        self._session = dialect.session
        self._dialogue = Dialogue(wire, clock, dialect.session)
        self._catalogue_for = catalogue_for
        self._identity: Identity | None = None
        self._catalogue: Catalogue | None = None
        self._is_catalogue_asked = False
        self._places: Mapping[str, Place] = {}
        self._is_greeted = False

    def wait_heartbeat(self, timeout_s: float = HEARTBEAT.value) -> None:
        """Greet the console until it shows its prompt.

        Raises:
            ConsoleSilentError: it does not in time.
        """
        self._is_greeted, heard = self._dialogue.greet(timeout_s=timeout_s)
        if not self._is_greeted:
            raise ConsoleSilentError.on(self._wire.name, waited_s=timeout_s, heard=heard)

    def read_identity(self) -> Identity:
        """Return who the aircraft says it is, in two answers that agree. Whether it is the right one is not judged.

        Raises:
            ConsoleIdentityError: it has no unique id, or its answers do not agree.
        """
        line = self._known("ask_who", self._session.ask_who, "ask who the aircraft is")
        forms = self._session.who_answers
        seen: list[Identity] = []
        for _ in range(TRIES.count):
            found = self._ask(line, "say who it is", "who_answers", lambda told: identity_told(forms, told.contents))
            if found in seen:
                self._identity = _with_real_id(found)
                return found
            seen.append(found)
        raise ConsoleIdentityError.because(
            f"The console said {len(seen)} times who it is, each time something else.",
            why="The line damages what it says; a text console has no checksum.",
        )

    def read_settings(self, progress: Progress | None = None) -> dict[str, Value]:
        """Return every setting by name, sorted, from two listings that agree.

        Values that the catalogue calls volatile need not agree. Values that never agree although the names do are those
        of the last listing: they move by themselves, and the caller who reads twice sees it.

        Raises:
            ListingUnsureError: the names do not agree.
            ListingNotUnderstoodError: a line has no place in the dialect.
            ListedTwiceError, ListedValueError: a name is there twice, or a text is no value of its type.
            ConsoleRefusedError: the console refuses to list.
        """
        self._ready()
        catalogue = self._known_catalogue()
        readings: list[dict[str, Value]] = []
        faults: list[RotorwrightError] = []
        for _ in range(READINGS.count):
            outcome = self._read_listing(catalogue, progress)
            if isinstance(outcome, RotorwrightError):
                if not outcome.retry_helps and any(fault.what == outcome.what for fault in faults):
                    raise outcome  # the line would hardly damage the same place twice
                faults.append(outcome)
            elif any(_agree(outcome, other, catalogue) for other in readings):
                return self._shown(outcome, progress)
            else:
                readings.append(outcome)
        return self._shown(_last_of(readings, faults), progress)

    def read_setting(self, name: str) -> Value:
        """Return one setting.

        Raises:
            ConsoleSettingMissingError: the console does not list it.
        """
        self._ready()
        return self._stands(name, self._place(name))

    def write_setting(self, name: str, value: Value) -> Value:
        """Write one setting and return what the console says then; it may have rounded or limited the value.

        Raises:
            ConsoleSettingMissingError: the console does not list it.
            ConsoleSettingRefusedError: it refuses the value in words.
            ValueNotPrintableError: the value would not come back as it is; nothing was sent.
            NotInDialectError: the dialect does not say how such a setting is set.
        """
        self._ready()
        place = self._place(name)
        line = place.line_with(value, self._dialect)
        if line is None:
            raise NotInDialectError.of(f"set {name!r}", dialect=self._dialect.name, key="set_one")
        refusals = 0
        stood: list[Value] = []
        for _ in range(WRITES.count):
            said = self._say(place, line)
            stands = self._stands(name, place)
            if stands == value:
                break
            refusals += bool(said.refusal)
            if refusals == REFUSALS.count:
                raise ConsoleSettingRefusedError.of(name, sent=value.text, kept=stands.text, said=said.refusal)
            if stands in stood and not said.refusal:
                break
            stood.append(stands)
        return stands

    def save_settings(self) -> None:
        """Let the aircraft save its settings, so that they outlive a restart.

        Raises:
            ConsoleRefusedError: it refuses.
        """
        self._act("save", self._session.save, "save its settings")

    def reset_settings(self) -> None:
        """Let the aircraft take the defaults of its release.

        Raises:
            ConsoleRefusedError: it refuses.
        """
        self._act("reset", self._session.reset, "reset its settings to defaults")

    def reboot(self) -> None:
        """Restart the aircraft; returns when it is about to, not when it is back.

        Raises:
            ConsoleRefusedError: it refuses.
        """
        self._leave("restart", self._session.restart, "restart")

    def reboot_to_bootloader(self) -> None:
        """Restart the aircraft into its bootloader; returns when it is about to.

        Raises:
            ConsoleRefusedError: it refuses.
        """
        self._leave("bootloader", self._session.bootloader, "restart into its bootloader")

    def read_catalogue(self) -> Catalogue:
        """Raise NoCatalogueError: a text console tells none."""
        raise NoCatalogueError.on(self._wire.name)

    def read_battery(self) -> ConsoleBattery:
        """Return the main battery as measured now."""
        line = self._known("ask_battery", self._session.ask_battery, "ask for the voltage of the battery")
        forms = self._session.battery_answers
        return self._ask(
            line, "tell its battery's voltage", "battery_answers", lambda told: battery_told(forms, told.contents)
        )

    def read_attitude(self) -> ConsoleAttitude:
        """Return the attitude as estimated now."""
        line = self._known("ask_attitude", self._session.ask_attitude, "ask how the aircraft is held")
        forms = self._session.attitude_answers
        return self._ask(
            line, "tell how it is held", "attitude_answers", lambda told: attitude_told(forms, told.contents)
        )

    def watch_attitude(self, *, rate_hz: float) -> Iterator[ConsoleAttitude]:
        """Yield attitudes, asked for at most `rate_hz` times a second, until the caller has enough."""
        while True:
            due_s = self._clock.now_s() + 1 / rate_hz
            yield self.read_attitude()
            self._clock.sleep_s(max(0.0, due_s - self._clock.now_s()))

    def watch(self, rates_hz: Mapping[Stream, float]) -> Generator[Reading]:
        """Raise StreamNotOfferedError: a text console answers, it does not stream."""
        raise StreamNotOfferedError.of(
            " and ".join(str(stream) for stream in rates_hz), because="A text console answers questions one by one."
        )

    def require_motor_test(self, output: int) -> None:
        """Raise StreamNotOfferedError: no motor is driven by lines of text, which nothing would stop in time."""
        raise StreamNotOfferedError.of(
            f"motor on output {output}",
            because="A motor is driven only by a link on which it stops by itself when we fall silent.",
        )

    def push_motor(self, output: int, value: float, *, for_s: float) -> None:
        """Raise StreamNotOfferedError, as `require_motor_test` does."""
        del value, for_s
        self.require_motor_test(output)

    def read_file(self, path: str, progress: Progress | None = None) -> bytes:
        """Return the memory of the display characters, each read twice alike; what no character uses is blank.

        Raises:
            ConsoleFileMissingError: another file is asked for.
        """
        self._require_display(path, "ask_character", self._session.ask_character, "read display characters")
        characters: dict[int, bytes] = {}
        for number in range(CHARACTERS):
            characters[number] = self._sure_character(number)
            if progress is not None:
                progress(number + 1, CHARACTERS)
        return print_characters(characters)

    def write_file(self, path: str, data: bytes, progress: Progress | None = None) -> None:
        """Write the memory of the display characters; read it back to know that it was kept.

        Raises:
            ConsoleFileMissingError: another file is meant.
            ConsoleRefusedError: the console refuses a character.
            CharacterMemoryError: the data are no such memory; nothing was sent.
        """
        form = self._require_display(path, "set_character", self._session.set_character, "write display characters")
        memory = parse_characters(data)
        for number in range(CHARACTERS):
            digits = memory.character(number).hex()
            line = _filled(form, {"number": str(number), "bytes": digits})
            self._ask(line, f"store display character {number}", "set_character", lambda _: True)
            if progress is not None:
                progress(number + 1, CHARACTERS)

    def _ready(self) -> None:
        if not self._is_greeted:
            self.wait_heartbeat()

    def _known(self, key: str, line: str, words: str) -> str:
        """Return a line of the dialect that is there."""
        if not line:
            raise NotInDialectError.of(words, dialect=self._dialect.name, key=key)
        self._ready()
        return line

    def _require_display(self, path: str, key: str, form: Form | None, words: str) -> Form:
        if path != DISPLAY_FILE:
            raise ConsoleFileMissingError.named(path)
        if form is None:
            raise NotInDialectError.of(words, dialect=self._dialect.name, key=key)
        self._ready()
        return form

    def _ask(self, line: str, words: str, key: str, take: Callable[[Answer], _T | None]) -> _T:
        """Ask until an answer is whole and `take` makes something of it; `words` completes "asked to ..."."""
        started, refusals = self._clock.now_s(), 0
        for _ in range(TRIES.count):
            answer = self._dialogue.ask(line)
            if answer.refusal:
                refusals += 1
                if refusals == REFUSALS.count:
                    raise ConsoleRefusedError.of(words, said=answer.refusal)
            elif answer.is_whole and (found := take(answer)) is not None:
                return found
            elif answer.end is End.NOTHING and self._dialogue.knows_prompt:
                self._is_greeted = False
                self._ready()  # it may have restarted, and then it knows nobody any more
        raise self._unanswered(answer, words, key, started)

    def _unanswered(self, answer: Answer, words: str, key: str, started_s: float) -> RotorwrightError:
        port, waited_s = self._wire.name, self._clock.now_s() - started_s
        if answer.end is End.NOTHING:
            question = f"the question to {words}"
            return NoAnswerError.to(question, port=port, tries=TRIES.count, waited_s=waited_s, heard="nothing")
        if not answer.is_whole:
            return AnswerCutError.to(words, port=port, tries=TRIES.count, heard=answer.heard)
        return AnswerNotUnderstoodError.to(words, heard=answer.heard, key=key)

    def _act(self, key: str, line: str, words: str) -> None:
        """Let the console do something. Some restart over it: then they have to answer a greeting again."""
        order = self._known(key, line, words)
        refusals = silences = 0
        while True:
            answer = self._dialogue.ask(order)
            if answer.refusal:
                refusals += 1
                if refusals == REFUSALS.count:
                    raise ConsoleRefusedError.of(words, said=answer.refusal)
                continue
            if answer.is_whole:
                return
            silences += 1
            self.wait_heartbeat(RETURNS.value)
            if silences == REFUSALS.count:
                return  # it restarts over it each time; whether it did it shows when it is read back

    def _leave(self, key: str, line: str, words: str) -> None:
        """Send an order after which the console is gone. A port that goes with it is no error."""
        order, refusals = self._known(key, line, words), 0
        while True:
            self._dialogue.send(order)
            try:
                answer = self._dialogue.collect(order, patience_s=max(self._dialogue.quiet_s, PARTING.value))
            except LinkError:
                break
            if not answer.refusal:
                break
            refusals += 1
            if refusals == REFUSALS.count:
                raise ConsoleRefusedError.of(words, said=answer.refusal)
        # Whoever answers next may be another release.
        self._is_greeted = self._is_catalogue_asked = False
        self._identity, self._places = None, {}

    def _known_catalogue(self) -> Catalogue | None:
        """Return the catalogue of the aircraft that answers; nothing where it cannot be asked who it is."""
        if not self._is_catalogue_asked and self._session.ask_who:
            self._catalogue = self._catalogue_for(self._identity or self.read_identity())
            self._is_catalogue_asked = True
        return self._catalogue

    def _read_listing(
        self, catalogue: Catalogue | None, progress: Progress | None
    ) -> dict[str, Value] | RotorwrightError:
        """Return the settings of one listing, or why it cannot be believed."""
        line, total = self._known("ask_all", self._session.ask_all, "list its settings"), len(self._places)
        heard = None if progress is None else lambda done: progress(min(done, total) if total else done, total or done)
        answer = self._dialogue.ask(line, settles=True, heard=heard)
        words = "list its settings"
        if answer.refusal:
            return ConsoleRefusedError.of(words, said=answer.refusal)
        if answer.end is End.NOTHING:
            self._is_greeted = False
        if not answer.is_whole or answer.end is End.NOTHING:
            return AnswerCutError.to(words, port=self._wire.name, tries=1, heard=answer.heard)
        listing = parse_listing(self._dialect, answer.data)
        if listing.unplaced or not listing.settings:
            return ListingNotUnderstoodError.of(tuple((number, each.text) for number, each in listing.unplaced))
        return self._typed(listing, catalogue)

    def _typed(self, listing: Listing, catalogue: Catalogue | None) -> dict[str, Value] | RotorwrightError:
        try:
            found = typed_settings(listing, catalogue)
        except SettingsError as fault:
            return fault
        self._places = places_of(listing, self._dialect)
        return dict(sorted(found.items()))

    def _shown(self, found: dict[str, Value], progress: Progress | None) -> dict[str, Value]:
        if progress is not None:
            progress(len(found), len(found))
        return found

    def _place(self, name: str) -> Place:
        if not self._places:
            self.read_settings()
        if name not in self._places:
            raise ConsoleSettingMissingError.named(name)
        return self._places[name]

    def _say(self, place: Place, line: str) -> Answer:
        """Send the line that sets, between those that open and close its section; return the answer to it."""
        for each in place.openers:
            self._dialogue.ask(each)
        answer = self._dialogue.ask(line)
        for each in place.closers:
            self._dialogue.ask(each)
        return answer

    def _stands(self, name: str, place: Place) -> Value:
        """Return what the console says now that a setting is."""
        form = self._session.ask_one
        if form is None or place.setting.section:
            return self.read_settings()[name]
        catalogue = self._known_catalogue()
        line = _filled(form, {"key": place.setting.key})
        return self._ask(line, f"tell the setting {name!r}", "ask_one", lambda told: self._one(told, name, catalogue))

    def _one(self, told: Answer, name: str, catalogue: Catalogue | None) -> Value | None:
        try:
            return typed_settings(parse_listing(self._dialect, told.data), catalogue).get(name)
        except SettingsError:  # damaged, or the console says it badly; the listing tells which
            return None

    def _sure_character(self, number: int) -> bytes:
        form = self._session.ask_character
        assert form is not None
        seen: list[bytes] = []
        line, words = _filled(form, {"number": str(number)}), f"show display character {number}"
        forms = self._session.character_answers
        for _ in range(TRIES.count):
            found = self._ask(
                line, words, "character_answers", lambda told: character_told(forms, told.contents, number)
            )
            if found in seen:
                return found
            seen.append(found)
        raise AnswerCutError.to(words, port=self._wire.name, tries=TRIES.count, heard="each time something else")


def _filled(form: Form, texts: Mapping[str, str]) -> str:
    return form.fill(*(texts[kind] for kind in form.slots))


def _with_real_id(identity: Identity) -> Identity:
    if not identity.unique_id.strip("0") or not identity.unique_id.strip("f"):
        raise ConsoleIdentityError.because(
            f"The aircraft has no unique id: it says {identity.unique_id}.",
            why="Its firmware does not tell the number of the microcontroller, or the microcontroller has none.",
        )
    return identity


def _agree(one: Mapping[str, Value], other: Mapping[str, Value], catalogue: Catalogue | None) -> bool:
    """Answer whether two readings have the same names and, where the aircraft does not measure them, values."""
    return one.keys() == other.keys() and all(
        value == other[name] or (catalogue is not None and name in catalogue and catalogue[name].volatile)
        for name, value in one.items()
    )


def _last_of(readings: list[dict[str, Value]], faults: list[RotorwrightError]) -> dict[str, Value]:
    """Return the last reading if the one before it has the same names; raise what is wrong otherwise."""
    if len(readings) < 2:
        raise faults[-1]
    before, last = readings[-2:]
    if before.keys() != last.keys():
        differing = tuple(sorted(before.keys() ^ last.keys()))
        raise ListingUnsureError.of(len(readings), differing=differing)
    return last
