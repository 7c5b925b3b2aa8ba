"""Sets of on-screen characters, written in another form or built anew."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import typer
from rich.markup import escape

from rotorwright.cli.console import out, print_json
from rotorwright.cli.display import Form
from rotorwright.cli.display_view import read_set, shown_numbers
from rotorwright.cli.files import read_input_file, require_free_name
from rotorwright.display.characters import (
    CHARACTERS,
    LARGE_CHARACTERS,
    CharacterMemory,
    parse_characters,
    print_characters,
)
from rotorwright.display.drawings import DrawingsFileError, parse_drawings, print_drawings
from rotorwright.display.exchange import USUAL_CHIP, SetForm, print_character_text
from rotorwright.display.fonts import PRINTABLE, FontCharacters, characters_of_font
from rotorwright.hangar.files import write_kept_file

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path


@dataclass(frozen=True, slots=True)
class BuildRequest:
    """What a set is built from, and the form it is written in."""

    font: Path | None
    symbols: Path | None
    letters: str | None
    size_pixels: int | None
    base: str | None
    form: Form
    chip: str | None
    is_large: bool


def convert_set(source: str, path: Path, *, form: Form | None, chip: str | None, as_json: bool) -> int:
    """Write a set in another form into a new file."""
    require_free_name(path)
    read = read_set(source)
    wanted = form or (Form.TEXT if read.set.form == SetForm.BINARY else Form.BINARY)
    data = _printed(read.memory, wanted, chip or read.set.chip or USUAL_CHIP)
    kept = write_kept_file(path, data)
    lost = _bytes_lost(read.memory) if wanted == Form.DRAWINGS else []
    if as_json:
        print_json(
            {**read.facts(), "file": path.name, "as": str(wanted), "sha256_file": kept.sha256, "only_look": lost}
        )
        return 0
    _say(f"{read.name}: {read.memory.count} characters written to {path}, {wanted} form, {kept.size_bytes:,} bytes.")
    if lost:
        _say(f"Of these characters only their look is kept there, and not every byte: {_listed(lost)}.")
    return 0


def build_set(request: BuildRequest, path: Path, *, as_json: bool) -> int:
    """Build a set and write it into a new file."""
    require_free_name(path)
    base = read_set(request.base).memory if request.base is not None else None
    count = LARGE_CHARACTERS if request.is_large or (base and base.count > CHARACTERS) else CHARACTERS
    made = _from_font(request, count)
    drawn = _drawn(request.symbols, count)
    own = {number: base.character(number) for number in range(base.count)} if base else {}
    characters = {**own, **(made.characters if made else {}), **drawn}
    memory = parse_characters(print_characters(characters, count=count), counts=(count,))
    kept = write_kept_file(path, _printed(memory, request.form, request.chip or USUAL_CHIP))
    if as_json:
        print_json(
            {"file": path.name, "as": str(request.form), "sha256_file": kept.sha256, **_facts(memory, made, drawn)}
        )
    else:
        _say(_words(memory, made, drawn))
        _say(f"Written to {path}, {request.form} form, {kept.size_bytes:,} bytes.")
    return 0


def _printed(memory: CharacterMemory, form: Form, chip: str) -> bytes:
    if form == Form.BINARY:
        return memory.data
    return (print_character_text(memory, chip=chip) if form == Form.TEXT else print_drawings(memory)).encode()


def _bytes_lost(memory: CharacterMemory) -> list[int]:
    """Return which characters would not come back from drawings with each of their 54 bytes."""
    again = parse_characters(
        print_characters(parse_drawings(print_drawings(memory), count=memory.count), count=memory.count),
        counts=(memory.count,),
    )
    return [number for number in range(memory.count) if memory.character(number) != again.character(number)]


def _from_font(request: BuildRequest, count: int) -> FontCharacters | None:
    if request.font is None:
        return None
    letters = PRINTABLE if request.letters is None else request.letters
    beyond = [letter for letter in letters if ord(letter) >= count]
    if beyond:
        raise typer.BadParameter(f"{beyond[0]!a} has the code {ord(beyond[0])}, and the set ends at {count - 1}")
    signs = {ord(letter): letter for letter in letters}
    return characters_of_font(read_input_file(request.font), signs, size_pixels=request.size_pixels)


def _drawn(path: Path | None, count: int) -> dict[int, bytes]:
    if path is None:
        return {}
    data = read_input_file(path)
    try:
        text = data.decode()
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise DrawingsFileError(
            f"Line {line} of the drawings is no UTF-8 text: byte {error.start} is {data[error.start]:#04x}.",
            why="Drawings are a text file; this one is damaged or something else.",
            state="The display characters of the aircraft were not touched.",
            todo="Save the file as UTF-8 text, or give another.",
            line=line,
        ) from error
    return parse_drawings(text, count=count)


def _replaced(made: FontCharacters | None, drawn: Mapping[int, bytes]) -> list[int]:
    return sorted(drawn.keys() & made.characters.keys()) if made else []


def _facts(memory: CharacterMemory, made: FontCharacters | None, drawn: Mapping[int, bytes]) -> dict[str, object]:
    font = {"name": made.font, "size_pixels": made.size_pixels, "numbers": sorted(made.characters)} if made else None
    return {
        "characters": memory.count,
        "not_blank": shown_numbers(memory),
        "font": font,
        "drawn": sorted(drawn),
        "drawn_instead_of_the_font": _replaced(made, drawn),
    }


def _words(memory: CharacterMemory, made: FontCharacters | None, drawn: Mapping[int, bytes]) -> str:
    parts = [f"{memory.count} characters, {len(shown_numbers(memory))} of them not blank."]
    if made:
        parts.append(f"{len(made.characters)} from {made.font} at {made.size_pixels} pixels.")
    if drawn:
        parts.append(f"Drawn: {_listed(sorted(drawn))}.")
    if _replaced(made, drawn):
        parts.append(f"Drawn instead of taken from the font: {_listed(_replaced(made, drawn))}.")
    return " ".join(parts)


def _listed(numbers: Sequence[int]) -> str:
    return ", ".join(str(number) for number in numbers)


def _say(words: str) -> None:
    out.print(escape(words), soft_wrap=True)
