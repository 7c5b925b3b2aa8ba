"""Sets of on-screen characters, looked at and compared."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rich.markup import escape

from rotorwright.cli.console import out, print_json
from rotorwright.cli.files import read_input_file, require_free_name
from rotorwright.display.characters import differing_characters, draw_character
from rotorwright.display.exchange import CharacterSet, parse_character_set
from rotorwright.display.need import NeededCharacters, needed_characters
from rotorwright.display.pictures import BLOCKS, PLAIN, comparison_lines, draw_comparison_svg, draw_set_svg, set_lines
from rotorwright.errors import SettingsError
from rotorwright.hangar.files import write_kept_file

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from rotorwright.display.characters import CharacterMemory
    from rotorwright.display.pictures import Ink

_IN_BOOK = re.compile(r"(.+):([0-9]+\.[0-9]+)\Z")
_MOST_LISTED = 100  # own choice: numbers in one sentence; all of them with --json


class NoCharactersError(SettingsError):
    """A release book has no display characters of the release that is asked for."""

    id = "display.not-in-book"


@dataclass(frozen=True, slots=True)
class Source:
    """A set with the name by which a person asked for it."""

    name: str
    set: CharacterSet

    @property
    def memory(self) -> CharacterMemory:
        """The characters themselves."""
        return self.set.memory

    @property
    def words(self) -> str:
        """What it is, in one line."""
        chip = f" for {self.set.chip}" if self.set.chip else ""
        held = f"{self.memory.count} characters, {len(shown_numbers(self.memory))} of them not blank"
        return f"{self.name}: {held}, {self.set.form} form{chip}"

    def facts(self) -> dict[str, object]:
        """Return the same as plain data."""
        return {
            "source": self.name,
            "form": str(self.set.form),
            "chip": self.set.chip or None,
            "characters": self.memory.count,
            "not_blank": shown_numbers(self.memory),
            "sha256": hashlib.sha256(self.memory.data).hexdigest(),
        }


def read_set(text: str) -> Source:
    """Return the set in a file, or that of a release in a book (`BOOK:RELEASE`).

    Raises:
        InputFileError: there is no such file.
        NoCharactersError: the book has none of that release.
        CharacterMemoryError, CharacterTextError, CharacterTextLengthError: the file is no set.
        BookNotFoundError, BookFormError, ...: as `read_book`.
    """
    path, in_book = Path(text), _IN_BOOK.match(text)
    if in_book is None or path.exists():
        return Source(path.name, parse_character_set(read_input_file(path)))
    from rotorwright.hangar.books import read_book

    book = read_book(Path(in_book[1]))
    characters = book.characters(in_book[2])
    if characters is None:
        raise _not_in_book(in_book[1], in_book[2], [release.name for release in book.releases])
    return Source(f"{book.family} {in_book[2]}", parse_character_set(characters))


def show_set(text: str, *, number: int | None, svg: Path | None, as_json: bool) -> int:
    """Show a set, or one character of it."""
    if svg is not None:
        require_free_name(svg)
    source = read_set(text)
    used = source.memory.character(number) if number is not None else None
    if as_json:
        one = {} if number is None or used is None else {"character": _character_facts(source.memory, number)}
        print_json({**source.facts(), **one})
    elif used is not None:
        _say(
            [f"{source.name}, character {number} ({number:X}h): # black, o white, . transparent", draw_character(used)]
        )
    else:
        _say([source.words, "", *set_lines(source.memory, width=out.width, ink=ink_of_terminal())])
    if svg is not None:
        _keep_picture(svg, draw_set_svg(source.memory, title=source.name), as_json=as_json)
    return 0


def compare_sets(wanted: str, found: str, *, svg: Path | None, as_json: bool) -> int:
    """Compare two sets; the exit code says it too (1: they differ)."""
    if svg is not None:
        require_free_name(svg)
    one, other = read_set(wanted), read_set(found)
    differing = differing_characters(one.memory, other.memory)
    need = needed_characters(one.memory, other.memory)
    if as_json:
        facts = {"same": not differing, "differing": list(differing), "needed": _need_facts(need)}
        print_json({"a": one.facts(), "b": other.facts(), **facts})
    else:
        _say_comparison(one, other, differing, need)
    if svg is not None:
        picture = draw_comparison_svg(one.memory, other.memory, titles=(one.name, other.name))
        _keep_picture(svg, picture, as_json=as_json)
    return 1 if differing else 0


def shown_numbers(memory: CharacterMemory) -> list[int]:
    """Return the numbers of the characters that are not blank."""
    return [number for number in range(memory.count) if not memory.is_blank(number)]


def ink_of_terminal() -> Ink:
    """Return half blocks where the terminal's encoding has them, else the plain signs."""
    try:
        (BLOCKS.both + BLOCKS.upper + BLOCKS.lower + BLOCKS.ground).encode(out.encoding)
    except (UnicodeEncodeError, LookupError):
        return PLAIN
    return BLOCKS


def _say_comparison(one: Source, other: Source, differing: Sequence[int], need: NeededCharacters) -> None:
    count = max(one.memory.count, other.memory.count)
    lines = [f"A {one.words}", f"B {other.words}"]
    if not differing:
        _say([*lines, f"All {count} characters are the same."])
        return
    listed = ", ".join(str(number) for number in differing[:_MOST_LISTED])
    more = ", ..." if len(differing) > _MOST_LISTED else ""
    lines += [
        f"{len(differing)} of {count} characters differ: {listed}{more}",
        f"If A is what the release draws, and B what is in the memory: {need.words}",
        "",
        *comparison_lines(one.memory, other.memory, width=out.width, ink=ink_of_terminal()),
    ]
    _say(lines)


def _need_facts(need: NeededCharacters) -> dict[str, object]:
    return {
        "is_met": need.is_met,
        "needed": list(need.needed),
        "missing": list(need.missing),
        "differing": list(need.differing),
        "unneeded": list(need.unneeded),
    }


def _character_facts(memory: CharacterMemory, number: int) -> dict[str, object]:
    used = memory.character(number)
    return {
        "number": number,
        "is_blank": memory.is_blank(number),
        "rows": draw_character(used).split("\n"),
        "bytes": used.hex(),
    }


def _keep_picture(path: Path, picture: str, *, as_json: bool) -> None:
    write_kept_file(path, picture.encode())
    if not as_json:
        _say([f"It is drawn in {path}"])


def _say(lines: Iterable[str]) -> None:
    out.print(escape("\n".join(lines)), soft_wrap=True)


def _not_in_book(book: str, release: str, known: Sequence[str]) -> NoCharactersError:
    return NoCharactersError(
        f"The release book {book} has no display characters of {release}.",
        why=f"It knows the releases {', '.join(known)}; not each has characters of its own."
        if release in known
        else f"It knows the releases {', '.join(known)}.",
        state="The display characters of the aircraft were not touched.",
        todo="Name another release, or a file.",
        book=book,
        release=release,
    )
