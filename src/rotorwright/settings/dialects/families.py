"""Finding families of setting lines: by shape, and in each the shortest run of words that tells its lines apart."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from rotorwright.settings.dialects.dialect import LineForm
from rotorwright.settings.dialects.form import Form, SlotKind, escaped, words_of
from rotorwright.settings.dialects.printed import is_name, is_prose, shape_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from rotorwright.settings.dialects.printed import Printed, Shape

_STATE_WORDS = (
    ("enable", "disable"),
    ("enabled", "disabled"),
    ("with", "without"),
    ("allow", "deny"),
    ("on", "off"),
    ("yes", "no"),
    ("true", "false"),
    ("use", "skip"),
    ("start", "stop"),
)
_STATE_SIGNS = (("+", "-"), ("", "-"), ("", "!"), ("", "~"), ("", "no "), ("", "no-"))
_LIST = re.compile(r"[^\s,]+(\s*,\s*[^\s,]*)+\Z")
_NUMBER = re.compile(r"[-+]?(0[xX][0-9a-fA-F]+|[0-9]*\.?[0-9]+([eE][-+]?[0-9]+)?)\Z")
_JOINT_ORDER = "=:|;,"
_LONGEST_KEY = 8
_LEAST_FOR_FILLER = 3  # in fewer lines the same word may well be a value
_TELLS_APART = 0.95  # a family of twenty lines may have one key twice and still be told apart by its keys


@dataclass(slots=True)
class Family:
    """A family found: its form, and the keys of the lines that led to it."""

    line: LineForm
    count: int
    keys: set[str] = field(default_factory=set)
    may_be_nameless: bool = False


@dataclass(frozen=True, slots=True)
class _Row:
    section: int
    words: tuple[str, ...]
    rest: str = ""


def find_families(lines: Sequence[Printed]) -> tuple[LineForm, ...]:
    """Return the families of setting lines in the order in which they are tried."""
    groups: defaultdict[tuple[str, str | None], list[_Row]] = defaultdict(list)
    for line in lines:
        shape = shape_of(line.content)
        groups[shape.joint, shape.pairs].append(_Row(line.section, shape.before, shape.rest))
    found = [family for (joint, pairs), rows in groups.items() for family in _group(joint, pairs, rows)]
    return tuple(_named(found))


def prose_lines(lines: Iterable[Printed]) -> tuple[str, ...]:
    """Return the lines that read like sentences and would be taken for settings by a family of bare words."""
    found = (line for line in lines if _is_bare_prose(shape_of(line.content)))
    return tuple(dict.fromkeys(line.content for line in found))


def _group(joint: str, pairs: str | None, rows: Sequence[_Row]) -> Iterator[Family]:
    if pairs is not None:
        yield from _pair_families(pairs, rows)
    elif joint == " ":
        yield from _bare_families([row for row in rows if not is_prose(row.words)])
    else:
        yield from _joint_families(joint, rows)


# -- name, sign, value ------------------------------------------------------------------------------------------------


def _joint_families(joint: str, rows: Sequence[_Row]) -> Iterator[Family]:
    single = [row for row in rows if len(row.words) == 1]
    if single:
        hold, between = _holding([row.rest for row in single], blanks=False)
        numbered = len(single) > 1 and all(row.words[0].isdecimal() for row in single)
        slot = "{row}" if numbered else "{key}"
        line = LineForm(_id("joint", joint), Form(f"{slot}{_joined(joint)}{hold}"), between=between)
        yield Family(replace(line, name="row" if numbered else ""), len(single), {row.words[0] for row in single})
    by_first: defaultdict[tuple[int, str], list[_Row]] = defaultdict(list)
    for row in rows:
        if len(row.words) > 1:
            by_first[len(row.words), row.words[0]].append(row)
    lonely: list[_Row] = []
    for (count, word), group in by_first.items():
        if len(group) == 1:
            lonely += group
            continue
        yield _worded_joint(joint, word, count, group)
    for count in sorted({len(row.words) for row in lonely}):
        group = [row for row in lonely if len(row.words) == count]
        hold, between = _holding([row.rest for row in group], blanks=False)
        form = Form(" ".join(["{key}"] * count) + _joined(joint) + hold)
        keys = {" ".join(row.words) for row in group}
        yield Family(LineForm(_id(f"{count} words", joint), form, between=between), len(group), keys)


def _worded_joint(joint: str, word: str, count: int, group: Sequence[_Row]) -> Family:
    hold, between = _holding([row.rest for row in group], blanks=False)
    numbered = count == 2 and all(row.words[1].isdecimal() for row in group)
    slots = "{row}" if numbered else " ".join(["{key}"] * (count - 1))
    form = Form(f"{escaped(word)} {slots}{_joined(joint)}{hold}")
    line = LineForm(_id(word, str(count), joint), form, name=word, between=between)
    return Family(line, len(group), {" ".join(row.words[1:]) for row in group}, may_be_nameless=not numbered)


def _joined(joint: str) -> str:
    return "{~}: " if joint == ":" else f"{{~}}{joint}{{~}}"


# -- lists of pairs ---------------------------------------------------------------------------------------------------


def _pair_families(joint: str, rows: Sequence[_Row]) -> Iterator[Family]:
    by_count: defaultdict[int, list[_Row]] = defaultdict(list)
    for row in rows:
        by_count[len(row.words)].append(row)
    for count, group in sorted(by_count.items(), reverse=True):
        form = Form(" ".join(["{key}"] * count) + " {pairs}")
        line = LineForm(_id(f"{count} words", f"pairs{joint}"), form, joint=joint)
        yield Family(line, len(group), {" ".join(row.words) for row in group})


# -- bare words -------------------------------------------------------------------------------------------------------


def _bare_families(rows: Sequence[_Row]) -> Iterator[Family]:
    rows, flags = _take_flags(rows)
    yield from flags
    worded, generic = _by_first_word(rows)
    for word, group in worded.items():
        yield from _worded_family(word, group)
    numbered = [row for row in generic if row.words[0].isdecimal() and len(row.words) > 1]
    if len(numbered) > 1:
        hold, between = _after_key([" ".join(row.words[1:]) for row in numbered])
        keys = {row.words[0] for row in numbered}
        yield Family(LineForm("rows", Form(f"{{row}} {hold}"), name="row", between=between), len(numbered), keys)
        generic = [row for row in generic if not (row.words[0].isdecimal() and len(row.words) > 1)]
    generic = [row for row in generic if is_name(row.words[0])]
    if len(generic) > 1:
        hold, between = _after_key([" ".join(row.words[1:]) for row in generic])
        keys = {row.words[0] for row in generic}
        yield Family(LineForm("words", Form(f"{{key}} {hold}"), between=between), len(generic), keys)


def _by_first_word(rows: Sequence[_Row]) -> tuple[dict[str, list[_Row]], list[_Row]]:
    in_section = Counter((row.section, row.words[0]) for row in rows)
    repeated = {word for (_, word), count in in_section.items() if count > 1 and is_name(word)}
    worded: defaultdict[str, list[_Row]] = defaultdict(list)
    generic: list[_Row] = []
    for row in rows:
        is_worded = row.words[0] in repeated and not row.words[0].isdecimal()
        (worded[row.words[0]] if is_worded else generic).append(row)
    alike = {word for word, group in worded.items() if all(len(row.words) == 1 for row in group)}
    generic += [row for word in alike for row in worded[word]]
    return {word: group for word, group in worded.items() if word not in alike}, generic


def _worded_family(word: str, group: Sequence[_Row]) -> Iterator[Family]:
    signed = _signed(group)
    if signed:
        on, off = signed
        line = LineForm(_id(word, "flags"), Form(f"{escaped(word)} {{state}}{{key}}", (on, off)), word, on=on, off=off)
        yield Family(line, len(group))
        return
    count = _shortest_key(group)
    keyed = [row for row in group if len(row.words) > count]
    for length in sorted({len(row.words) for row in group if 1 < len(row.words) <= count}, reverse=True):
        form = Form(" ".join([escaped(word), *["{key}"] * (length - 1)]))
        yield Family(LineForm(_id(word, f"{length - 1} words"), form, word), 1)
    if any(len(row.words) == 1 for row in group):
        yield Family(LineForm(_id(word, "alone"), Form(escaped(word)), word), 1)
    numbered = count == 1 and all(row.words[1].isdecimal() for row in keyed)
    slots = "{row}" if numbered else " ".join(["{key}"] * count)
    rests = [" ".join(row.words[1 + count :]) for row in keyed]
    hold, between = _after_key(rests) if any(rests) else ("", "")
    form = Form(f"{escaped(word)} {slots} {hold}".rstrip())
    keys = {" ".join(row.words[1 : 1 + count]) for row in keyed}
    line = LineForm(_id(word), form, word, between)
    yield Family(line, len(keyed), keys, may_be_nameless=bool(hold) and not numbered)


def _shortest_key(group: Sequence[_Row]) -> int:
    """Return how many words after the first tell the lines of each section apart."""
    rows = {(row.section, row.words[1:]) for row in group}
    longest = min(max(len(words) for _, words in rows), _LONGEST_KEY)
    for count in range(1, longest + 1):
        if len({(section, words[:count]) for section, words in rows}) >= _TELLS_APART * len(rows):
            return count
    return longest


def _signed(group: Sequence[_Row]) -> tuple[str, str] | None:
    if any(len(row.words) != 2 for row in group):
        return None
    return _signs_of([row.words[1] for row in group])


def _signs_of(words: Sequence[str]) -> tuple[str, str] | None:
    for on, off in _STATE_SIGNS:
        offs = sum(word.startswith(off) for word in words)
        ons = sum(word.startswith(on) if on else word[0].isalnum() and not word.startswith(off) for word in words)
        if offs + ons == len(words) and offs and (ons or len(words) > 1) and not any(map(_NUMBER.match, words)):
            return on, off
    return None


def _take_flags(rows: Sequence[_Row]) -> tuple[list[_Row], list[Family]]:
    """Take out the lines that only switch something on or off, by a leading word or sign."""
    found: list[Family] = []
    rest = list(rows)
    for on, off in _STATE_WORDS:
        group = [row for row in rest if row.words[0] in {on, off} and len(row.words) == 2]
        if {row.words[0] for row in group} == {on, off}:
            taken = {on, off}
            rest = [row for row in rest if not (row.words[0] in taken and len(row.words) == 2)]
            line = LineForm(_id(on, off), Form("{state} {key}", (on, off)), on=on, off=off)
            found.append(Family(line, len(group), {row.words[1] for row in group}))
    alone = [row for row in rest if len(row.words) == 1 or (len(row.words) == 2 and row.words[0] == "no")]
    signs = _signs_of([" ".join(row.words) for row in alone]) if len(alone) > 1 else None
    if signs:
        on, off = signs
        rest = [row for row in rest if not (len(row.words) == 1 or (len(row.words) == 2 and row.words[0] == "no"))]
        found.append(Family(LineForm("flags", Form("{state}{key}", (on, off)), on=on, off=off), len(alone)))
    return rest, found


def _after_key(rests: Sequence[str]) -> tuple[str, str]:
    """Return the form of what comes after the key between blanks, and the sign between several values.

    A word that stands there in every line, like `be` in `let x be 5`, is no value.
    """
    split = [words_of(rest) for rest in rests]
    firsts = {words[0] if len(words) > 1 else "" for words in split}
    filler = firsts.pop() if len(firsts) == 1 else ""
    if not filler.isalpha() or len(rests) < _LEAST_FOR_FILLER:
        return _holding(rests, blanks=True)
    hold, between = _holding([" ".join(words[1:]) for words in split], blanks=True)
    return f"{escaped(filler)} {hold}", between


def _holding(rests: Sequence[str], *, blanks: bool) -> tuple[str, str]:
    """Return the slot that holds what comes after the key, and the sign between several values."""
    lists = sum(_LIST.match(rest) is not None for rest in rests)
    if lists and 2 * lists >= len(rests):
        return "{values}", ","
    if all(len(words_of(rest)) <= 1 for rest in rests):
        return "{value}", ""
    numbers = all(_NUMBER.match(word) for rest in rests for word in words_of(rest))
    return ("{values}", "") if blanks or numbers else ("{value}", "")


def _is_bare_prose(shape: Shape) -> bool:
    return shape.joint == " " and is_prose(shape.before)


def _id(*words: str) -> str:
    return " ".join(words)


def _rank(line: LineForm) -> int:
    """Return how late a form is tried: what takes nearly any line comes last."""
    slots = line.form.slots
    signs = [sign for sign in _JOINT_ORDER if sign in line.form.text.replace("{pairs}", "")]
    if SlotKind.STATE in slots:
        return 0 if line.on and line.off and " " in line.form.text else 3 + len(_JOINT_ORDER)
    if SlotKind.PAIRS in slots:
        return 1
    if SlotKind.ROW in slots:
        return 2
    return 3 + _JOINT_ORDER.index(signs[0]) if signs else 4 + len(_JOINT_ORDER)


def _named(found: Sequence[Family]) -> Iterator[LineForm]:
    """Yield the forms; the first word is left out of the names of a family that most settings are in."""
    owners = Counter(key for family in found for key in family.keys)
    total = sum(family.count for family in found)
    ids: Counter[str] = Counter()
    for family in sorted(found, key=lambda each: (_rank(each.line), -each.count)):
        line = family.line
        ids[line.id] += 1
        if ids[line.id] > 1:
            line = replace(line, id=f"{line.id} ({ids[line.id]})")
        is_main = family.may_be_nameless and 2 * family.count >= total
        yield replace(line, name="") if is_main and all(owners[key] == 1 for key in family.keys) else line
