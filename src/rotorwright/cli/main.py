"""The `rotorwright` command. Each command imports what it needs when it runs, so that `--help` answers at once."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from rotorwright.changeover.ways import WriteWay
from rotorwright.cli.display import display_app

app = typer.Typer(
    name="rotorwright",
    help="Take a multirotor from one firmware release to the next and prove that it came back the same aircraft.\n\n"
    "Propellers off. Lithium batteries can burn. Local rules and the manufacturer's instructions come first.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

PortOption = Annotated[str, typer.Option("--port", "-p", help="Serial port of the aircraft; see `rotorwright ports`.")]
OtherPortOption = Annotated[
    str | None, typer.Option("--port", "-p", help="Port, if it is another one than on the job card.")
]
HangarOption = Annotated[
    Path | None,
    typer.Option("--hangar", envvar="ROTORWRIGHT_HANGAR", help="Folder where aircraft and changeovers are kept."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON on standard output.")]
BookOption = Annotated[Path, typer.Option("--book", "-b", help="Release book: a folder or a zip.")]
OptionalBookOption = Annotated[Path | None, typer.Option("--book", "-b", help="Release book: a folder or a zip.")]
AnswersOption = Annotated[
    Path | None, typer.Option("--answers", help="File with the answers (TOML or CSV), for runs without a keyboard.")
]
BaudOption = Annotated[int, typer.Option("--baud", help="Baud rate of the application.", min=1200)]
LoaderBaudOption = Annotated[int, typer.Option("--loader-baud", help="Baud rate of the UART bootloader.", min=1200)]
WayOption = Annotated[
    WriteWay,
    typer.Option(
        "--way",
        help="How the image is written: over the UART, over USB, onto a drive, or as the bootloader shows itself.",
    ),
]
DialectOption = Annotated[
    str | None,
    typer.Option("--dialect", "-d", help="Console dialect, for listings and text consoles: file or `thornbill`."),
]
CatalogueOption = Annotated[
    Path | None, typer.Option("--catalogue", help="Catalogue file (JSON) with the types of a listing's settings.")
]
ReleaseOption = Annotated[str, typer.Option("--release", help="Release that a listing is of.")]
BoardOption = Annotated[str, typer.Option("--board", help="Board that a listing is of.")]
FamilyOption = Annotated[str, typer.Option("--family", help="Firmware family that a listing is of.")]


def _address(text: str) -> int:
    try:
        return int(text, 0)
    except ValueError:
        raise typer.BadParameter(f"{text!r} is no address; expected is one such as 0x08000000") from None


BaseOption = Annotated[
    int | None,
    typer.Option(
        "--base",
        metavar="ADDRESS",
        parser=_address,
        help="Address of the first byte, for an image file without addresses, such as 0x08000000.",
    ),
]
PolicyOption = Annotated[
    str,
    typer.Option(
        "--policy",
        metavar="POLICY",
        help="How doubtful settings are decided: careful, only-what-i-changed or same-feel, and after `;` overrides "
        "such as class.board=hold or set.NAME=keep-mine.",
    ),
]
LeaveOutOption = Annotated[
    list[str] | None,
    typer.Option(
        "--leave-out",
        metavar="CHECK",
        help="A bench check to leave out, noted as not shown: power, orientation, receiver, arming, failsafe, motors. "
        "May be given several times.",
    ),
]
PlantOption = Annotated[
    list[str] | None,
    typer.Option(
        "--plant",
        metavar="FAULT",
        help="Something wrong with the aircraft itself, such as sensor-mounted-otherwise or motor-direction-reversed; "
        "a wrong name lists all. May be given several times.",
    ),
]
CardArgument = Annotated[
    str | None, typer.Argument(help="Job card, for example c0001; the latest open one if left out.")
]


@app.command()
def demo(
    *,
    folder: Annotated[
        Path | None, typer.Option("--folder", help="Where everything is left; a new one if not given.")
    ] = None,
    fault: Annotated[
        list[str] | None,
        typer.Option(
            "--fault",
            metavar="FAULT",
            help="power-cut@N, torn@N or after@N (flash operation N), kill@N (this tool, at journal event N), "
            "lose=RATE, damage=RATE, late=SECONDS, double=RATE. May be given several times.",
        ),
    ] = None,
    speed: Annotated[
        float, typer.Option("--speed", help="How many times faster than real its flash and line are.", min=0.1)
    ] = 4.0,
    baud: Annotated[
        int, typer.Option("--baud", help="Baud rate of the twin's line; 0 means as fast as it can.", min=0)
    ] = 921_600,
    without_book: Annotated[
        bool, typer.Option("--without-book", help="Know nothing beforehand: the aircraft teaches the tool.")
    ] = False,
    by_console: Annotated[
        bool, typer.Option("--by-console", help="Speak to the aircraft by its text console instead of by messages.")
    ] = False,
    way: WayOption = WriteWay.UART,
    plant: PlantOption = None,
    bench: Annotated[
        bool, typer.Option("--bench/--no-bench", help="Prove everything on the bench, or only how it is held.")
    ] = True,
    as_json: JsonOption = False,
) -> None:
    """Run a whole changeover on a virtual aircraft, with the usual decisions taken and shown.

    Its board was put back a quarter turned, unless another fault is planted: the bench finds that, and it is repaired.
    """
    from rotorwright.cli.demo import DemoWay, run_demo

    how = DemoWay(has_book=not without_book, by_console=by_console, write=way, has_bench=bench)
    raise typer.Exit(
        run_demo(folder=folder, way=how, faults=fault or [], speed=speed, baud=baud, planted=plant, as_json=as_json)
    )


@app.command()
def twin(
    state: Annotated[Path, typer.Argument(help="Folder of the virtual aircraft; made and filled if it is not there.")],
    *,
    baud: Annotated[
        int, typer.Option("--baud", help="Baud rate that the line keeps to; 0 means unlimited.", min=0)
    ] = 115_200,
    speed: Annotated[
        float, typer.Option("--speed", help="How many times faster than real its flash and line are.", min=0.1)
    ] = 1.0,
    fault: Annotated[
        list[str] | None, typer.Option("--fault", metavar="FAULT", help="As for `demo`, except kill@N.")
    ] = None,
    console: Annotated[
        bool, typer.Option("--console", help="Its firmware speaks by a text console from now on, not by messages.")
    ] = False,
    drive: Annotated[bool, typer.Option("--drive", help="Its bootloader shows itself as a drive from now on.")] = False,
    plant: PlantOption = None,
) -> None:
    """Start a virtual aircraft and keep it alive until stopped (Ctrl-C)."""
    from rotorwright.cli.twin import serve_twin

    raise typer.Exit(
        serve_twin(state, baud=baud, speed=speed, faults=fault or [], console=console, drive=drive, planted=plant or ())
    )


@app.command()
def hands(
    state: Annotated[Path, typer.Argument(help="Folder of a virtual aircraft that runs.")],
    action: Annotated[
        str,
        typer.Argument(
            help="power-off, power-on, button (power on with the bootloader button held), battery-in, battery-out, "
            "nose-down, nose-up, left-down, right-down, level, nose-right, stick-roll (or thrust, pitch, yaw), "
            "switch-7 (any channel from 5 on), transmitter-on, transmitter-off, arm-and-off, pull-cable, plug-cable."
        ),
    ],
) -> None:
    """Do with a virtual aircraft what hands do with a real one."""
    from rotorwright.cli.twin import act_on_twin

    raise typer.Exit(act_on_twin(state, action))


@app.command()
def ports(
    *,
    watch: Annotated[bool, typer.Option("--watch", help="Go on and show what comes and goes, until Ctrl-C.")] = False,
    nothing_came: Annotated[
        bool, typer.Option("--nothing-came", help="Say what to do when nothing comes, in the order of trying.")
    ] = False,
    book: OptionalBookOption = None,
    as_json: JsonOption = False,
) -> None:
    """List ports, bootloaders on USB and UF2 drives; unplug and plug the aircraft to see which one is its own."""
    from rotorwright.cli.ports import book_facts, print_advice, print_ports, watch_and_print

    if nothing_came:
        raise typer.Exit(print_advice(as_json=as_json))
    show, facts = (watch_and_print if watch else print_ports), book_facts(book)
    raise typer.Exit(show(as_json=as_json, facts=facts))


@app.command("udev-rule")
def udev_rule(
    *,
    install: Annotated[
        bool, typer.Option("--install", help="Put it in place; only as administrator, never over another content.")
    ] = False,
) -> None:
    """Print the rule by which Linux lets whoever sits at the computer open ports and bootloaders."""
    from rotorwright.cli.ports import udev_rule as print_or_install

    raise typer.Exit(print_or_install(install=install))


@app.command()
def save(
    *,
    port: Annotated[
        str | None, typer.Option("--port", "-p", help="Serial port of the aircraft; see `rotorwright ports`.")
    ] = None,
    listing: Annotated[
        Path | None, typer.Option("--from", metavar="LISTING", help="A printed listing instead of an aircraft.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--output", "--out", "-o", help="File to write; named after the aircraft if left out."),
    ] = None,
    dialect: DialectOption = None,
    book: OptionalBookOption = None,
    catalogue: CatalogueOption = None,
    release: ReleaseOption = "",
    board: BoardOption = "",
    family: FamilyOption = "",
    unique_id: Annotated[
        str | None, typer.Option("--unique-id", help="Unique id of the aircraft that printed the listing.")
    ] = None,
    leave_out_unplaced: Annotated[
        bool, typer.Option("--leave-out-unplaced", help="Save a listing without the lines that fit nothing.")
    ] = False,
    baud: BaudOption = 115_200,
    as_json: JsonOption = False,
) -> None:
    """Save every setting of the aircraft, read twice and compared; or what a printed listing says."""
    from rotorwright.cli.readings import NOBODY, Told
    from rotorwright.cli.save import SaveRequest
    from rotorwright.cli.save import save as save_snapshot

    if (port is None) == (listing is None):
        raise typer.BadParameter("give either --port or --from")
    if listing is not None and dialect is None:
        raise typer.BadParameter("a listing needs --dialect; `rotorwright dialect learn` works one out")
    told = Told(dialect, book, catalogue, family, release, board, unique_id or NOBODY, baud)
    request = SaveRequest(told, port=port, listing=listing, output=out, leave_out_unplaced=leave_out_unplaced)
    raise typer.Exit(save_snapshot(request, as_json=as_json))


@app.command()
def show(
    snapshot: Annotated[str, typer.Argument(help="A saved snapshot, a printed listing, or a port.")],
    *,
    name: Annotated[str, typer.Option("--name", "-n", help="Only names that contain this text.")] = "",
    dialect: DialectOption = None,
    book: Annotated[Path | None, typer.Option("--book", "-b", help="Release book, for units and labels.")] = None,
    catalogue: CatalogueOption = None,
    release: ReleaseOption = "",
    board: BoardOption = "",
    baud: BaudOption = 115_200,
    as_json: JsonOption = False,
) -> None:
    """Show the settings in a saved snapshot or a printed listing."""
    from rotorwright.cli.look import show_settings
    from rotorwright.cli.readings import Told

    told = Told(dialect, book, catalogue, release=release, board=board, baud=baud)
    raise typer.Exit(show_settings(snapshot, told, name=name, as_json=as_json))


@app.command()
def compare(
    before: Annotated[str, typer.Argument(help="A saved snapshot, a printed listing, or a port.")],
    after: Annotated[str, typer.Argument(help="Another one.")],
    *,
    dialect: DialectOption = None,
    book: OptionalBookOption = None,
    catalogue: CatalogueOption = None,
    release: ReleaseOption = "",
    board: BoardOption = "",
    by_messages: Annotated[
        bool, typer.Option("--by-messages", help="Ports speak messages; the dialect is for a listing only.")
    ] = False,
    baud: BaudOption = 115_200,
    as_json: JsonOption = False,
) -> None:
    """Compare two sets of settings. Exit code 0: the same; 1: they differ, or not all can be compared."""
    from rotorwright.cli.compare_view import compare_sources
    from rotorwright.cli.readings import Told

    told = Told(dialect, book, catalogue, release=release, board=board, baud=baud, by_messages=by_messages)
    raise typer.Exit(compare_sources(before, after, told, as_json=as_json))


@app.command("compare-flights")
def compare_flights(
    before: Annotated[Path, typer.Argument(help="Recording of a flight before the change (CSV or Parquet).")],
    after: Annotated[Path, typer.Argument(help="Recording of a flight after it.")],
    *,
    columns: Annotated[
        Path | None,
        typer.Option("--columns", metavar="MAP", help="Column map (TOML); recognised and said where not given."),
    ] = None,
    html: Annotated[
        Path | None, typer.Option("--html", metavar="FILE", help="Write a page with figures into this new file.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Compare two recorded flights axis by axis. Exit code 0: the same or better; 1: worse, or nobody can tell."""
    from rotorwright.cli.flights import FlightsRequest, compare_recorded_flights

    request = FlightsRequest(before, after, columns=columns, html=html, as_json=as_json)
    raise typer.Exit(compare_recorded_flights(request))


@app.command()
def inspect(
    image: Annotated[Path, typer.Argument(help="A firmware image of any known format.")],
    other: Annotated[Path | None, typer.Argument(help="Another image, to compare the two sector by sector.")] = None,
    *,
    book: Annotated[Path | None, typer.Option("--book", "-b", help="Release book, to judge the fit.")] = None,
    board: Annotated[
        str | None, typer.Option("--board", help="Board to judge it against; a name or an old name.")
    ] = None,
    part: Annotated[
        str, typer.Option("--part", help="Microcontroller whose sectors are shown, where the image names none.")
    ] = "",
    map_file: Annotated[
        Path | None, typer.Option("--map", metavar="FILE", help="Draw how it lies in flash into this new SVG file.")
    ] = None,
    base: BaseOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show what an image is, with a book and a board whether it fits; or how two images differ."""
    from rotorwright.cli.look import InspectRequest, compare_image_files, inspect_image

    if other is not None and (book or board or map_file):
        raise typer.BadParameter("--book, --board and --map are about one image, and two are named.")
    if other is not None:
        raise typer.Exit(compare_image_files(image, other, part=part, base=base, as_json=as_json))
    request = InspectRequest(image, book=book, board=board, part=part, base=base, map_file=map_file)
    raise typer.Exit(inspect_image(request, as_json=as_json))


@app.command()
def plan(
    snapshot: Annotated[str, typer.Argument(help="A saved snapshot, a printed listing, or a port.")],
    *,
    book: OptionalBookOption = None,
    to: Annotated[str, typer.Option("--to", help="The release to go to, for example 6.0.")] = "",
    old_defaults: Annotated[
        str | None,
        typer.Option("--old-defaults", metavar="SNAPSHOT", help="The old release, fresh on this board."),
    ] = None,
    new_defaults: Annotated[
        str | None,
        typer.Option("--new-defaults", metavar="SNAPSHOT", help="The new release, fresh on this board."),
    ] = None,
    dialect: DialectOption = None,
    catalogue: CatalogueOption = None,
    release: ReleaseOption = "",
    board: BoardOption = "",
    family: FamilyOption = "",
    form: Annotated[
        str, typer.Option("--as", metavar="table|json|csv|html", help="The form in which the sheet is given.")
    ] = "table",
    output: Annotated[Path | None, typer.Option("--output", "-o", help="File to write the sheet to.")] = None,
    every: Annotated[bool, typer.Option("--all", help="Show the adopted lines too.")] = False,
    why: Annotated[
        str | None, typer.Option("--why", help="The whole story of one setting, by its old or new name.")
    ] = None,
    policy: PolicyOption = "careful",
    as_json: JsonOption = False,
) -> None:
    """Show what will become of each setting, and why. Nothing is sent to any aircraft.

    Without a release book the defaults of the old and the new release, read from a board, are enough.
    """
    from rotorwright.cli.plans import PlanRequest, sheet_form, show_plan
    from rotorwright.cli.readings import Told

    request = PlanRequest(
        to=to,
        old_defaults=old_defaults,
        new_defaults=new_defaults,
        told=Told(dialect, book, catalogue, family, release, board),
        form=sheet_form("json" if as_json else form),
        output=output,
        every=every,
        why=why,
        policy=policy,
    )
    raise typer.Exit(show_plan(snapshot, request))


@app.command()
def decide(
    sheet: Annotated[
        Path | None, typer.Argument(help="A carry-over sheet (JSON), as `plan --as json --output FILE` gives it.")
    ] = None,
    *,
    changeover: Annotated[
        str | None, typer.Option("--changeover", "-c", metavar="CARD", help="An open job card instead of a file.")
    ] = None,
    choice: Annotated[
        list[str] | None, typer.Option("--set", metavar="NAME=OPTION", help="Decide a held setting by an option's key.")
    ] = None,
    value: Annotated[
        list[str] | None, typer.Option("--value", metavar="NEWNAME=VALUE", help="A value of your own; needs --for.")
    ] = None,
    held_name: Annotated[
        list[str] | None, typer.Option("--for", metavar="NAME", help="The held setting that --value is for.")
    ] = None,
    file: Annotated[
        Path | None, typer.Option("--from", metavar="ANSWERS", help="Answers from a TOML or CSV file.")
    ] = None,
    only_list: Annotated[bool, typer.Option("--list", help="Only show what is held, with the options.")] = False,
    output: Annotated[Path | None, typer.Option("--output", "-o", help="File for the decided sheet.")] = None,
    catalogue: Annotated[
        Path | None, typer.Option("--catalogue", help="Catalogue of the new release, to judge your own values by.")
    ] = None,
    hangar: HangarOption = None,
    as_json: JsonOption = False,
) -> None:
    """Answer held settings, all together or one by one; no aircraft is needed.

    With no answer given, each held line is asked about. All answers fit and are taken, or none is.
    """
    from rotorwright.cli.decide import DecideRequest, GivenAnswers
    from rotorwright.cli.decide import decide as take

    answers = GivenAnswers(tuple(choice or ()), tuple(value or ()), tuple(held_name or ()), file)
    request = DecideRequest(
        answers,
        sheet=sheet,
        changeover=changeover,
        hangar=hangar,
        output=output,
        catalogue=catalogue,
        only_list=only_list,
        as_json=as_json,
    )
    raise typer.Exit(take(request))


@app.command()
def changeover(
    port: PortOption,
    image: Annotated[Path, typer.Option("--image", "-i", help="Image of the new release, in any known format.")],
    *,
    base: BaseOption = None,
    book: OptionalBookOption = None,
    dialect: Annotated[
        str | None,
        typer.Option("--dialect", help="Speak to the aircraft by its text console: a dialect file, or `thornbill`."),
    ] = None,
    part: Annotated[
        str, typer.Option("--part", help="The microcontroller of the board, where nobody else says it.")
    ] = "",
    airframe: Annotated[str, typer.Option("--airframe", help="Name of the airframe, for the record.")] = "",
    policy: PolicyOption = "careful",
    way: WayOption = WriteWay.AUTO,
    leave_out: LeaveOutOption = None,
    hangar: HangarOption = None,
    answers: AnswersOption = None,
    baud: BaudOption = 115_200,
    loader_baud: LoaderBaudOption = 115_200,
) -> None:
    """Do the whole job on the aircraft on the port. It can be stopped anywhere; `resume` goes on.

    Without a release book the aircraft itself is asked for its defaults, before the write and after it.
    """
    from rotorwright.cli.jobs import BenchOptions, NewJob, start

    options = BenchOptions(port=port, hangar=hangar, answers=answers, baud=baud, loader_baud=loader_baud)
    job = NewJob(
        image=image,
        book=book,
        airframe=airframe,
        dialect=dialect,
        part=part,
        policy=policy,
        image_base=base,
        way=str(way),
        left_out=tuple(leave_out or ()),
    )
    raise typer.Exit(start(options, job))


@app.command()
def resume(
    card: CardArgument = None,
    *,
    port: OtherPortOption = None,
    hangar: HangarOption = None,
    answers: AnswersOption = None,
    baud: BaudOption = 115_200,
    loader_baud: LoaderBaudOption = 115_200,
) -> None:
    """Say where a changeover stands and go on with it."""
    from rotorwright.cli.jobs import BenchOptions
    from rotorwright.cli.jobs import resume as go_on

    options = BenchOptions(port=port, hangar=hangar, answers=answers, baud=baud, loader_baud=loader_baud)
    raise typer.Exit(go_on(options, changeover_id=card))


@app.command()
def prove(
    card: CardArgument = None,
    *,
    only: Annotated[
        list[str] | None,
        typer.Option("--only", metavar="CHECK", help="One bench check, also once more; may be given several times."),
    ] = None,
    before: Annotated[
        Path | None, typer.Option("--before", help="Recording of a flight before the update: CSV or Parquet.")
    ] = None,
    after: Annotated[Path | None, typer.Option("--after", help="Recording of the first hover after it.")] = None,
    columns: Annotated[
        Path | None, typer.Option("--columns", help="Map of the recordings' columns and units (TOML).")
    ] = None,
    port: OtherPortOption = None,
    hangar: HangarOption = None,
    answers: AnswersOption = None,
    baud: BaudOption = 115_200,
    as_json: JsonOption = False,
) -> None:
    """Measure on the bench what a job card still lacks, or compare the first hover with a flight from before.

    Checks: power, orientation, receiver, arming, failsafe, motors. Propellers off; local rules and the maker's
    instructions come first.
    """
    from rotorwright.cli.jobs import BenchOptions
    from rotorwright.cli.prove import Recordings
    from rotorwright.cli.prove import prove as prove_all

    if (before is None) is not (after is None):
        raise typer.BadParameter("--before and --after belong together")
    recordings = Recordings(before, after, columns) if before is not None and after is not None else None
    options = BenchOptions(port=port, hangar=hangar, answers=answers, baud=baud)
    raise typer.Exit(prove_all(options, changeover_id=card, only=only or (), recordings=recordings, as_json=as_json))


@app.command("hover")
def first_hover(*, as_json: JsonOption = False) -> None:
    """Show the protocol of the first hover: what to fly, for how long, what is recorded, what ends it."""
    from rotorwright.cli.prove import show_hover

    raise typer.Exit(show_hover(as_json=as_json))


@app.command("roll-back")
def roll_back(
    card: CardArgument = None,
    *,
    because: Annotated[str, typer.Option("--because", help="Why, for the record.")] = "",
    image: Annotated[
        Path | None,
        typer.Option("--image", "-i", help="Image of the old release, where the bootloader did not give it out."),
    ] = None,
    base: BaseOption = None,
    port: OtherPortOption = None,
    hangar: HangarOption = None,
    answers: AnswersOption = None,
    baud: BaudOption = 115_200,
    loader_baud: LoaderBaudOption = 115_200,
) -> None:
    """Take the aircraft back to the release and the settings it was found with."""
    from rotorwright.cli.jobs import BenchOptions, WayBack, roll_back_card

    options = BenchOptions(port=port, hangar=hangar, answers=answers, baud=baud, loader_baud=loader_baud)
    raise typer.Exit(roll_back_card(options, changeover_id=card, back=WayBack(because, image, base)))


@app.command()
def unprotect(
    port: PortOption,
    *,
    consent: Annotated[
        str | None, typer.Option("--consent", help="The words that it asks for, where nobody is there to type them.")
    ] = None,
    sectors_only: Annotated[
        bool,
        typer.Option("--sectors-only", help="Take only the write protection off its sectors; that erases nothing."),
    ] = False,
    loader_baud: LoaderBaudOption = 115_200,
) -> None:
    """Take the read-out protection off a board in its bootloader. This erases everything in its flash for good."""
    from rotorwright.cli.unprotect import UnprotectRequest
    from rotorwright.cli.unprotect import unprotect as take_off

    raise typer.Exit(take_off(UnprotectRequest(port, loader_baud, consent, sectors_only)))


@app.command()
def cards(*, hangar: HangarOption = None, as_json: JsonOption = False) -> None:
    """List the job cards: where each changeover stands and what comes next."""
    from rotorwright.cli.jobs import list_cards

    raise typer.Exit(list_cards(hangar, as_json=as_json))


dialect_app = typer.Typer(
    help="Console dialects: how a firmware's text console prints its settings.", no_args_is_help=True
)
app.add_typer(dialect_app, name="dialect")


@dialect_app.command("learn")
def dialect_learn(
    files: Annotated[list[Path], typer.Argument(help="Printed settings of one firmware, one or more files.")],
    *,
    as_json: JsonOption = False,
) -> None:
    """Work a dialect out from printed texts alone, and show it with examples to confirm."""
    from rotorwright.cli.dialect import learn

    raise typer.Exit(learn(files, as_json))


@dialect_app.command("check")
def dialect_check(
    dialect: Annotated[Path, typer.Argument(help="A console dialect (TOML).")],
    file: Annotated[Path, typer.Argument(help="A printed listing.")],
    *,
    as_json: JsonOption = False,
) -> None:
    """Prove the round trip: parse the listing, print it, and compare every byte."""
    from rotorwright.cli.dialect import check

    raise typer.Exit(check(dialect, file, as_json))


book_app = typer.Typer(help="Release books: what a firmware family knows of its releases.", no_args_is_help=True)
app.add_typer(book_app, name="book")


@book_app.command("check")
def book_check(
    path: Annotated[Path, typer.Argument(help="A release book: a folder or a zip.")], *, as_json: JsonOption = False
) -> None:
    """Check a release book: its notes against its catalogues, its classes and constraints."""
    from rotorwright.cli.book import check

    raise typer.Exit(check(path, as_json=as_json))


app.add_typer(display_app, name="display")

defaults_app = typer.Typer(invoke_without_command=True)
InnerHangarOption = Annotated[  # the variable is read once, outside: a folder named before the command goes before it
    Path | None, typer.Option("--hangar", help="Folder where aircraft and changeovers are kept.")
]
app.add_typer(defaults_app, name="defaults")


@defaults_app.callback()
def defaults(context: typer.Context, *, hangar: HangarOption = None, as_json: JsonOption = False) -> None:
    """Captured defaults: what a release holds fresh on a board. Without a command: list them."""
    context.obj = (hangar, as_json)  # said before the command, they hold for it too
    if context.invoked_subcommand is None:
        from rotorwright.cli.defaults import list_defaults

        raise typer.Exit(list_defaults(hangar, as_json=as_json))


@defaults_app.command("show")
def defaults_show(
    context: typer.Context,
    number: Annotated[int, typer.Argument(help="Number in the list of `rotorwright defaults`.")],
    *,
    hangar: InnerHangarOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show one capture as a listing of its settings."""
    from rotorwright.cli.defaults import show_defaults

    given, wants_json = context.obj
    raise typer.Exit(show_defaults(number, hangar or given, as_json=as_json or wants_json))


@defaults_app.command("add")
def defaults_add(
    context: typer.Context,
    snapshot: Annotated[Path, typer.Argument(help="A snapshot saved right after a reset to defaults.")],
    *,
    read_by: Annotated[
        str | None, typer.Option("--read-by", help="mavlink or console; told by the types if left out.")
    ] = None,
    catalogue: Annotated[
        Path | None, typer.Option("--catalogue", help="Catalogue that the aircraft gave (parameter metadata, JSON).")
    ] = None,
    hangar: InnerHangarOption = None,
    as_json: JsonOption = False,
) -> None:
    """Add a snapshot that you know was taken fresh after a reset: nothing in it set by a person."""
    from rotorwright.cli.defaults import add_defaults

    given, wants_json = context.obj
    raise typer.Exit(
        add_defaults(snapshot, hangar or given, read_by=read_by, catalogue=catalogue, as_json=as_json or wants_json)
    )


def _print_version(*, wanted: bool) -> None:
    if wanted:
        from rotorwright import __version__

        typer.echo(f"rotorwright {__version__}")
        raise typer.Exit


@app.callback()
def main(
    *,
    version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Read the options that come before any command."""


def run() -> None:
    """Run the command line; no traceback reaches a person."""
    from rotorwright.cli.border import run_guarded

    sys.exit(run_guarded(app, sys.argv[1:]))
