"""Stage prove: what the aircraft says after its restart decides, and what it says while it is held in the hands."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.changeover.bringing import differences, read_snapshot
from rotorwright.changeover.errors import (
    AttitudeNotUnderstoodError,
    DisplayNotWrittenError,
    SettingsNotAsPlannedError,
    WrongReleaseError,
)
from rotorwright.changeover.events import NOT_SHOWN, EventKind
from rotorwright.changeover.gates import Gate
from rotorwright.changeover.kept import kept_facts
from rotorwright.changeover.person import Direction, TiltRequest
from rotorwright.changeover.receive import keep_content
from rotorwright.changeover.restore import expected_settings
from rotorwright.changeover.workshop import AFTER_RESTART_S, Workshop
from rotorwright.display.characters import differing_characters, parse_characters
from rotorwright.display.need import needed_characters
from rotorwright.display.pictures import draw_comparison_svg, draw_set_svg
from rotorwright.links.application import DISPLAY_FILE
from rotorwright.settings.identity import release_line

if TYPE_CHECKING:
    from rotorwright.hangar.journal import JsonValue
    from rotorwright.links.application import ApplicationLink

TILT_SEEN_DEG = 15.0  # half of the 30 degrees asked for: hands are no protractor. Common practice, no source.
OTHER_AXIS_DEG = 12.0
TILT_HELD_S = 0.6  # held, not passed through on the way to somewhere else
TILT_TIME_S = 20.0

# MAVLink ATTITUDE: roll and pitch of the aeronautical frame (front, right, down): roll is positive right side down,
# pitch is positive nose up.
_EXPECTED: dict[Direction, tuple[str, int]] = {
    Direction.NOSE_DOWN: ("pitch", -1),
    Direction.NOSE_UP: ("pitch", +1),
    Direction.LEFT_DOWN: ("roll", -1),
    Direction.RIGHT_DOWN: ("roll", +1),
}


@dataclass(frozen=True, slots=True)
class TiltSample:
    """One reading of the attitude: seconds since the request, degrees."""

    at_s: float
    roll_deg: float
    pitch_deg: float


def prove_release(shop: Workshop) -> None:
    """Prove that the planned release answers.

    Raises:
        WrongReleaseError: another one does.
    """
    with shop.application(timeout_s=AFTER_RESTART_S) as link:
        identity = link.read_identity()
    planned = shop.state.expected_release
    if release_line(identity.release) != release_line(planned):
        raise WrongReleaseError(
            f"{identity.release} answers, {planned} was planned.",
            why="The board starts another image than the one that was written.",
            todo="Use `roll-back`, or start a new changeover.",
            expected=planned,
            found=identity.release,
        )
    _proved(shop, "release", f"{identity.family} {identity.release} on {identity.board}")


def prove_settings(shop: Workshop) -> None:
    """Prove that every setting stands as the plan says, by one more reading.

    Raises:
        SettingsNotAsPlannedError: one does not.
    """
    expected = expected_settings(shop)
    wrong = differences(read_snapshot(shop).settings, expected)
    if wrong:
        raise SettingsNotAsPlannedError(
            f"{len(wrong)} settings changed since they were verified, the first is {wrong[0]}.",
            why="Another program or person changed them, or the memory does not keep them.",
            todo="Close other programs that talk to the aircraft, then go on with `resume`.",
            names=", ".join(wrong),
        )
    _proved(shop, "settings", f"{len(expected)} settings equal to the plan", settings=len(expected))


def prove_display(shop: Workshop) -> None:
    """Prove that the display characters are those of the release.

    Raises:
        DisplayNotWrittenError: they are not.
    """
    release = shop.state.expected_release
    wanted = shop.book().characters(release_line(release))
    if wanted is None:
        words = "no release book has display characters of this release; nothing was compared"
        shop.note(EventKind.CHECK_PROVED, check="display", verdict=NOT_SHOWN, evidence=words)
        return
    with shop.application(timeout_s=AFTER_RESTART_S) as link:
        found = parse_characters(link.read_file(DISPLAY_FILE))
    goal = parse_characters(wanted)
    wrong = differing_characters(found, goal)
    if wrong:
        picture = draw_comparison_svg(found, goal, titles=("in the aircraft", f"of {release}"))
        keep_content(shop, "display-differences", "svg", picture.encode())
        raise DisplayNotWrittenError(
            f"{len(wrong)} display characters are not those of {release}, the first is number {wrong[0]}.",
            why="The display memory did not keep them, or another program wrote it.",
            todo="Plug the main battery in, propellers off, and go on with `resume`.",
            differing=len(wrong),
        )
    picture = draw_set_svg(found, title=f"Read back from the display: {release}")
    need = needed_characters(goal, found)
    _proved(
        shop,
        "display",
        f"{goal.count} display characters equal to those of {release}. {need.words}",
        picture=kept_facts(keep_content(shop, "display-characters", "svg", picture.encode())),
    )


def prove_attitude(shop: Workshop) -> None:
    """Tip the aircraft four ways and prove that it says so each time.

    The aircraft is in somebody's hands here, its battery perhaps plugged in, so the propellers are asked for again.

    Raises:
        NotConfirmedError: the propellers are not confirmed off.
        AttitudeNotUnderstoodError: it reports another axis or sense, or nothing.
    """
    shop.require_confirmed(Gate.PROPELLERS_OFF)
    evidence: list[str] = []
    record: dict[str, JsonValue] = {}
    with shop.application(timeout_s=AFTER_RESTART_S) as link:
        for direction in _EXPECTED:
            samples = _tilt(shop, link, direction)
            evidence.append(f"{direction} {_reached(samples[-1], direction):+.0f} deg")
            record[str(direction)] = _thinned(samples)
        shop.person.act(TiltRequest(Direction.LEVEL))
    _proved(shop, "attitude", ", ".join(evidence), samples=record)


def _tilt(shop: Workshop, link: ApplicationLink, direction: Direction) -> list[TiltSample]:
    if not shop.person.act(TiltRequest(direction)):
        raise _not_understood(direction, "the aircraft was not tipped", None)
    start = shop.clock.now_s()
    samples: list[TiltSample] = []
    seen_since = math.inf
    for reading in link.watch_attitude(rate_hz=25.0):
        at = shop.clock.now_s() - start
        samples.append(TiltSample(at, math.degrees(reading.roll_rad), math.degrees(reading.pitch_rad)))
        if not _is_seen(samples[-1], direction):
            seen_since = math.inf
        elif math.isinf(seen_since):
            seen_since = at
        if at - seen_since >= TILT_HELD_S:
            return samples
        if at > TILT_TIME_S:
            break
    raise _not_understood(direction, "no such tilt was reported", samples[-1] if samples else None)


def _is_seen(sample: TiltSample, direction: Direction) -> bool:
    return _reached(sample, direction) >= TILT_SEEN_DEG and _other(sample, direction) <= OTHER_AXIS_DEG


def _reached(sample: TiltSample, direction: Direction) -> float:
    axis, sign = _EXPECTED[direction]
    return sign * (sample.pitch_deg if axis == "pitch" else sample.roll_deg)


def _other(sample: TiltSample, direction: Direction) -> float:
    return abs(sample.roll_deg if _EXPECTED[direction][0] == "pitch" else sample.pitch_deg)


def _thinned(samples: list[TiltSample]) -> list[JsonValue]:
    step = max(1, len(samples) // 40)
    kept = samples[::step]
    return [[round(one.at_s, 3), round(one.roll_deg, 2), round(one.pitch_deg, 2)] for one in kept]


def _proved(shop: Workshop, check: str, evidence: str, **facts: JsonValue) -> None:
    shop.note(EventKind.CHECK_PROVED, check=check, verdict="passed", evidence=evidence, **facts)


def _not_understood(direction: Direction, found: str, last: TiltSample | None) -> AttitudeNotUnderstoodError:
    seen = f" Last seen: roll {last.roll_deg:+.0f}, pitch {last.pitch_deg:+.0f} degrees." if last else ""
    return AttitudeNotUnderstoodError(
        f"Tipped {direction}: {found}.{seen}",
        why="The sensor's mounting in the settings does not fit how it sits, or the aircraft was tipped another way.",
        state="The aircraft does not know how it is held: do not fly.",
        todo="Tip it as asked with `resume`; if it is the mounting, use `roll-back` and look at that setting.",
        direction=str(direction),
    )
