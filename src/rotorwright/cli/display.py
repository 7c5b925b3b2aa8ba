"""`rotorwright display`: commands about on-screen characters; their work is in `display_view` and `display_make`."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

display_app = typer.Typer(
    help="On-screen characters: look at a set, compare two, convert, build. No aircraft is touched.\n\n"
    "A set is a file in either form, or BOOK:RELEASE (such as book.zip:6.0) for that of a release book.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


class Form(StrEnum):
    """In what form a set is written; `binary` and `text` are those of `rotorwright.display.exchange.SetForm`."""

    BINARY = "binary"
    TEXT = "text"
    DRAWINGS = "drawings"


def _number(text: str) -> int:
    try:
        return int(text, 0)
    except ValueError:
        raise typer.BadParameter(f"{text!r} is no number; expected is one such as 65 or 0x41") from None


SetArgument = Annotated[str, typer.Argument(metavar="SET", help="A set of characters: a file, or BOOK:RELEASE.")]
OutArgument = Annotated[Path, typer.Argument(metavar="OUT", help="New file to write; nothing is ever overwritten.")]
SvgOption = Annotated[Path | None, typer.Option("--svg", metavar="OUT", help="Draw it into this new SVG file.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON on standard output.")]
ChipOption = Annotated[
    str | None, typer.Option("--chip", help="Name of the chip in the first line of the text form; MAX7456 if left out.")
]


@display_app.command("show")
def show(
    source: SetArgument,
    *,
    number: Annotated[
        int | None,
        typer.Option("--number", "-n", metavar="NUMBER", parser=_number, help="Only this character, mark by mark."),
    ] = None,
    svg: SvgOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show a set of characters as pictures in the terminal: white as ink, transparent as ground, black as nothing."""
    from rotorwright.cli.display_view import show_set

    raise typer.Exit(show_set(source, number=number, svg=svg, as_json=as_json))


@display_app.command("compare")
def compare(
    wanted: Annotated[str, typer.Argument(metavar="A", help="The set that a release needs: a file, or BOOK:RELEASE.")],
    found: Annotated[str, typer.Argument(metavar="B", help="The set to hold against it.")],
    *,
    svg: SvgOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compare two sets character by character. Exit code 0: every one is the same; 1: some differ."""
    from rotorwright.cli.display_view import compare_sets

    raise typer.Exit(compare_sets(wanted, found, svg=svg, as_json=as_json))


@display_app.command("convert")
def convert(
    source: SetArgument,
    out: OutArgument,
    *,
    form: Annotated[
        Form | None,
        typer.Option("--as", help="Form to write: from binary text, and from text binary, if left out."),
    ] = None,
    chip: ChipOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write a set in another form; every byte is kept, except in drawings, which keep the look."""
    from rotorwright.cli.display_make import convert_set

    raise typer.Exit(convert_set(source, out, form=form, chip=chip, as_json=as_json))


@display_app.command("build")
def build(
    out: OutArgument,
    *,
    font: Annotated[
        Path | None, typer.Option("--font", metavar="FILE", help="TrueType or OpenType font; needs rotorwright[fonts].")
    ] = None,
    symbols: Annotated[
        Path | None, typer.Option("--symbols", metavar="FILE", help="Drawn characters; they go before those of a font.")
    ] = None,
    letters: Annotated[
        str | None,
        typer.Option("--letters", help="The signs taken from the font, each under its own code; printable ASCII else."),
    ] = None,
    size: Annotated[
        int | None, typer.Option("--size", help="Size of the font in pixels; the largest that fits if left out.")
    ] = None,
    base: Annotated[
        str | None, typer.Option("--base", metavar="SET", help="Start from this set instead of a blank one.")
    ] = None,
    large: Annotated[bool, typer.Option("--large", help="512 characters (two banks) instead of 256.")] = False,
    form: Annotated[Form, typer.Option("--as", help="Form to write.")] = Form.BINARY,
    chip: ChipOption = None,
    as_json: JsonOption = False,
) -> None:
    """Build a set from the glyphs of an open font and from drawn symbols: white, with a black outline."""
    from rotorwright.cli.display_make import BuildRequest, build_set

    if font is None and symbols is None:
        raise typer.BadParameter("give --font, --symbols or both")
    if font is None and (letters is not None or size is not None):
        raise typer.BadParameter("--letters and --size are about a font, and no --font is given")
    request = BuildRequest(font, symbols, letters, size, base, form, chip, is_large=large)
    raise typer.Exit(build_set(request, out, as_json=as_json))
