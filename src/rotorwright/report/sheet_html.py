"""The carry-over sheet as one HTML file that needs nothing else, in the look of the job card.

What a person must decide comes first, with the ways to decide it. Lines can be narrowed to one kind of decision without
any script; on paper all of them are printed, so that a choice on the screen hides nothing there.
"""

from __future__ import annotations

from dataclasses import dataclass
from html.parser import HTMLParser
from itertools import zip_longest
from typing import TYPE_CHECKING

import rotorwright
from rotorwright.report.from_changeover import GROUPS
from rotorwright.report.html import FOLDED_FROM_LINES, page_environment
from rotorwright.report.plain import visible
from rotorwright.report.words import BAD, CAUTIONS, DOUBT, GOOD, QUIET, Mark
from rotorwright.settings.decisions import DecisionKind

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.settings.catalogue import Catalogue
    from rotorwright.settings.decisions import Arrival, Decision, Option
    from rotorwright.settings.sheet import CarryOverSheet
    from rotorwright.settings.values import Value

# A sign for each kind; the word always stands beside it.
_SIGNS: dict[DecisionKind, tuple[str, str]] = {
    DecisionKind.HELD: ("?", DOUBT),
    DecisionKind.KEEP: ("=", GOOD),
    DecisionKind.RENAME: ("\N{RIGHTWARDS ARROW}", GOOD),
    DecisionKind.CONVERT: ("\N{PROPORTIONAL TO}", GOOD),
    DecisionKind.RELABEL: ("#", GOOD),
    DecisionKind.SPLIT: ("\N{DIVISION SIGN}", GOOD),
    DecisionKind.JOIN: ("+", GOOD),
    DecisionKind.REFIT: ("\N{ALMOST EQUAL TO}", GOOD),
    DecisionKind.PIN: ("\N{DOWNWARDS ARROW}", GOOD),
    DecisionKind.BOARD: ("\N{WHITE SQUARE}", QUIET),
    DecisionKind.CALIBRATION: ("\N{WHITE CIRCLE}", QUIET),
    DecisionKind.RETIRED: ("\N{MULTIPLICATION X}", BAD),
    DecisionKind.ADOPT: ("\N{MIDDLE DOT}", QUIET),
}

_PROPELLERS = (
    "Propellers off while anything of this sheet is written and proved. Put them on last, outside, away from people, "
    "after checking that each motor turns the right way."
)
_RULES = (
    "Local rules, licences where they are asked for, and the manufacturer's instructions stand above this sheet. It is "
    "a plan of work, not an airworthiness approval."
)
_OWN_CAUTIONS = {"Propellers": _PROPELLERS, "Rules": _RULES}

_WAITING = Mark("?", "[??]", "not decided", DOUBT)
_DECIDED = Mark("\N{CHECK MARK}", "[ok]", "decided", GOOD)


@dataclass(frozen=True, slots=True)
class _Cell:
    """A setting with a value in words; `value` is empty where nobody knows it."""

    name: object
    value: str


@dataclass(frozen=True, slots=True)
class _Way:
    """One way to decide a held line."""

    key: str
    words: str
    writes: tuple[_Cell, ...]
    is_chosen: bool


@dataclass(frozen=True, slots=True)
class _Row:
    """One decision as the page shows it."""

    found: tuple[_Cell, ...]
    base: tuple[_Cell, ...]
    theirs: tuple[_Cell, ...]
    after: tuple[_Cell, ...]
    moves: bool
    reason: str
    rule: str
    ways: tuple[_Way, ...]
    is_waiting: bool
    drawing: object


@dataclass(frozen=True, slots=True)
class _Group:
    """All decisions of one kind."""

    kind: DecisionKind
    title: str
    explanation: str
    mark: Mark
    rows: tuple[_Row, ...]


def render_sheet(
    sheet: CarryOverSheet,
    *,
    old: Catalogue | None = None,
    new: Catalogue | None = None,
    drawings: Mapping[str, str] | None = None,
) -> str:
    """Return the sheet as a complete HTML page. The same input gives the same text.

    Args:
        sheet: what is shown, decided or not.
        old: catalogue of the old release, for units and labels.
        new: the same of the new release.
        drawings: SVG pictures of ours (curves before and after), by the first found name of their line.

    Raises:
        ValueError: a drawing holds anything but shapes and text; that would be a defect of ours.
    """
    pictures = {name: _picture(text) for name, text in (drawings or {}).items()}
    groups = tuple(_groups(sheet, old, new, pictures))
    return (
        page_environment()
        .get_template("carry_over_sheet.html.j2")
        .render(
            sheet=sheet,
            groups=groups,
            kinds=[*(str(group.kind) for group in groups), *(["arrivals"] if sheet.arrivals else [])],
            waiting_mark=_WAITING,
            decided_mark=_DECIDED,
            stamp=_stamp(sheet),
            waiting=len(sheet.undecided),
            written=sum(len(each.writes_in_force) for each in sheet.decisions),
            arrivals=[_arrival(each, new) for each in sheet.arrivals],
            cautions=[(name, _OWN_CAUTIONS.get(name, text)) for name, text in CAUTIONS],
            folded_from_lines=FOLDED_FROM_LINES,
            made_by=f"Rotorwright {rotorwright.__version__}",
        )
    )


def _stamp(sheet: CarryOverSheet) -> Mark:
    if sheet.undecided:
        return Mark("?", "[??]", f"{len(sheet.undecided)} held", DOUBT)
    return Mark("\N{CHECK MARK}", "[ok]", "all decided", GOOD)


def _groups(
    sheet: CarryOverSheet, old: Catalogue | None, new: Catalogue | None, pictures: Mapping[str, object]
) -> list[_Group]:
    groups = []
    for kind, (title, explanation) in GROUPS.items():
        sign, tone = _SIGNS[kind]
        rows = tuple(_row(each, old, new, pictures.get(each.found[0])) for each in sheet.decisions if each.kind is kind)
        if rows:
            groups.append(_Group(kind, title, explanation, Mark(sign, "", title, tone), rows))
    return groups


def _row(decision: Decision, old: Catalogue | None, new: Catalogue | None, drawing: object) -> _Row:
    return _Row(
        found=_cells(decision.found, decision.ours, old),
        base=_cells(decision.found, decision.base, old),
        theirs=_cells(decision.new_names, decision.theirs, new),
        after=_after(decision, new),
        moves=decision.new_names != decision.found,
        reason=decision.reason,
        rule=decision.rule,
        ways=tuple(_way(each, decision, new) for each in decision.options),
        is_waiting=decision.is_undecided,
        drawing=drawing,
    )


def _after(decision: Decision, new: Catalogue | None) -> tuple[_Cell, ...]:
    """Return what the new release will hold; nothing while it is undecided."""
    if decision.is_undecided:
        return ()
    standing = dict(zip(decision.new_names, decision.theirs, strict=True))
    standing |= {each.name: each.value for each in decision.writes_in_force}
    return _cells(tuple(standing), tuple(standing.values()), new)


def _way(option: Option, decision: Decision, new: Catalogue | None) -> _Way:
    names, values = tuple(each.name for each in option.writes), tuple(each.value for each in option.writes)
    return _Way(option.key, option.words, _cells(names, values, new), option.key == decision.chosen)


def _arrival(arrival: Arrival, new: Catalogue | None) -> tuple[_Cell, str]:
    return _cells((arrival.name,), (arrival.default,), new)[0], arrival.words


def _cells(names: tuple[str, ...], values: tuple[Value | None, ...], catalogue: Catalogue | None) -> tuple[_Cell, ...]:
    return tuple(
        _Cell(_breakable(name), "" if value is None else _shown(name, value, catalogue))
        for name, value in zip_longest(names, values)
    )


def _breakable(name: str) -> object:
    """Return a name as markup that may be broken after an underscore, so that narrow columns stay readable."""
    from markupsafe import Markup, escape  # noqa: PLC0415 - comes with jinja2

    return escape(visible(name)).replace("_", Markup("_<wbr>"))


def _shown(name: str, value: Value, catalogue: Catalogue | None) -> str:
    known = catalogue.get(name) if catalogue is not None else None
    text = known.show(value) if known is not None and known.type is value.type else value.text
    return text or "(empty)"


# What a drawing of ours is made of. Names of SVG 1.1, chapters 5, 9 and 10 (from memory).
_SHAPES = {"svg", "g", "path", "line", "polyline", "polygon", "rect", "circle", "text", "tspan", "title", "desc"}


class _DrawingCheck(HTMLParser):
    """Refuses whatever could run, load or reach out of the picture."""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Look at one element."""
        if tag not in _SHAPES:
            raise ValueError(f"a drawing holds the element {tag}")
        for name, value in attrs:
            if name.startswith("on") or "href" in name or "url(" in (value or "") or name == "style":
                raise ValueError(f"a drawing holds the attribute {name}")


def _picture(text: str) -> object:
    from markupsafe import Markup  # noqa: PLC0415 - comes with jinja2

    check = _DrawingCheck()
    check.feed(text)
    check.close()
    if not text.startswith("<svg") or not text.rstrip().endswith("</svg>"):
        raise ValueError("a drawing is one svg element")
    return Markup(text)  # noqa: S704 - looked through above, and made by our own drawing code
