"""What a refit entry of change notes asks for, worked out: the settings of the new release with the closest effect.

The books of the settings room hold laws as text; the feel room knows what they mean. This module joins the two. What is
reported is measured for the very values that would be written.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

from rotorwright.errors import SettingsError
from rotorwright.feel.filter_refit import CutoffOffer, DelayKind, refit_to_attenuation, refit_to_delay
from rotorwright.feel.filters import Chain, Filter, FilterKind, butterworth
from rotorwright.feel.formulas import parse_formula
from rotorwright.settings.refits import Refit, RefitKind
from rotorwright.settings.values import Value, ValueNotInTypeError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.feel.filter_refit import Change, FilterRefit
    from rotorwright.feel.stick_curves import Curve, Parameter
    from rotorwright.feel.stick_refit import StickRefit
    from rotorwright.settings.catalogue import Catalogue, Setting
    from rotorwright.settings.refits import FilterForm

_SAME = 1e-6  # of a measure; what 32-bit settings may make of it
_STEPS_TELL = 0.9  # of the deviation: with less than that left, the steps are worth a word
_LOWEST_CUTOFF_HZ = 0.1  # where a book allows zero for "off": the lowest cutoff that is looked at


class RefitImpossibleError(SettingsError):
    """A refit cannot be worked out: something is not known, or the laws allow none."""

    id = "carry-over.refit-impossible"


@dataclass(frozen=True, slots=True)
class RefitLimits:
    """How far from equal a refit may be and still be taken without asking; our choice, no source.

    Args:
        stick_share: of the rate of the old curve at full stick.
        stick_dps: in deg/s; the larger of the two counts.
    """

    stick_share: float = 0.01
    stick_dps: float = 2.0


@dataclass(frozen=True, slots=True)
class WorkedOut:
    """The closest settings of the new release.

    Args:
        values: by new name.
        words: how far from equal they are.
        is_close: whether that is close enough to be taken without asking.
    """

    values: Mapping[str, Value]
    words: str
    is_close: bool


@dataclass(frozen=True, slots=True)
class Knowns:
    """The settings that the laws of a refit may ask for, as numbers.

    Args:
        old: as found, or else the old default.
        new: as they will be as far as it is decided.
        catalogue: of the new release.
    """

    old: Mapping[str, float]
    new: Mapping[str, float]
    catalogue: Catalogue | None


def work_out(note: Refit, knowns: Knowns, limits: RefitLimits) -> WorkedOut:
    """Return the closest settings of the new release.

    Raises:
        SettingsError: they cannot be worked out; the words say why.
    """
    if note.kind is RefitKind.STICK_CURVE:
        return _stick(note, knowns, limits)
    return _filters(note, knowns)


def stick_curves(note: Refit, knowns: Knowns, values: Mapping[str, Value]) -> tuple[Curve, Curve]:
    """Return the old curve, and the new one with these values.

    Raises:
        SettingsError: a law is none, or one of its settings is not known.
    """
    from rotorwright.feel.stick_curves import Curve, CurveLaw  # noqa: PLC0415 - brings numpy

    old, new = (CurveLaw(parse_formula(text)) for text in (note.old_law, note.new_law))
    return Curve(old, dict(knowns.old)), Curve(new, {name: value.number for name, value in values.items()})


def _stick(note: Refit, knowns: Knowns, limits: RefitLimits) -> WorkedOut:
    from rotorwright.feel.stick_curves import STICK  # noqa: PLC0415 - brings numpy
    from rotorwright.feel.stick_refit import measure_curves  # noqa: PLC0415

    parameters = tuple(_parameter(_setting(name, knowns)) for name in note.new)
    needed = sorted(parse_formula(note.old_law).names - {STICK})
    old_values = tuple((name, _known(name, knowns.old)) for name in needed)
    best = _closest(note.old_law, old_values, note.new_law, parameters, float(note.centre_weight))
    values = {name: _value(_setting(name, knowns), number) for name, number in best.values.items()}
    old, new = stick_curves(note, knowns, values)
    found = replace(measure_curves(old, new), unstepped_dps=best.unstepped_dps)
    highest = float(max(abs(old.rates_dps([-1.0, 1.0]))))
    allowed = max(limits.stick_dps, limits.stick_share * highest)
    return WorkedOut(values, _stick_words(found), found.is_exact or found.deviation_dps <= allowed)


@lru_cache(maxsize=64)
def _closest(
    old_law: str,
    old_values: tuple[tuple[str, float], ...],
    new_law: str,
    parameters: tuple[Parameter, ...],
    centre_weight: float,
) -> StickRefit:
    """Search once for all axes, profiles and aircraft that ask the same."""
    from rotorwright.feel.stick_curves import Curve, CurveLaw  # noqa: PLC0415 - brings numpy
    from rotorwright.feel.stick_refit import refit_stick  # noqa: PLC0415

    old = Curve(CurveLaw(parse_formula(old_law)), dict(old_values))
    return refit_stick(old, CurveLaw.of(new_law, *parameters), centre_weight=centre_weight)


def _stick_words(found: StickRefit) -> str:
    from rotorwright.feel.stick_refit import shown_dps  # noqa: PLC0415 - brings numpy

    if found.is_exact:
        return "that is the same curve, as far as 32-bit numbers can tell"
    price = ""
    if found.unstepped_dps < _STEPS_TELL * found.deviation_dps:
        price = f"; without the steps of the settings it would be {shown_dps(found.unstepped_dps)}"
    return f"the rate of turn is {found.words}{price}"


def _parameter(setting: Setting) -> Parameter:
    from rotorwright.feel.stick_curves import Parameter  # noqa: PLC0415 - brings numpy

    low, high = _range(setting)
    default = None if setting.default is None else float(setting.default.number)
    return Parameter(setting.name, low, high, _step(setting), default)


def _filters(note: Refit, knowns: Knowns) -> WorkedOut:
    old_loop, new_loop = _computed(note.old_loop, knowns.old), _computed(note.new_loop, knowns.new)
    old = Chain(_chain(note.old_filters, knowns.old), old_loop)
    if not old.filters:
        raise impossible("the filters of the old release were off, so there is nothing to be equal to")
    offered = next(each for each in note.new_filters if each.cutoff in note.new)
    setting = _setting(offered.cutoff, knowns)
    rest = tuple(each for each in note.new_filters if each is not offered)
    offer = _offer(offered, setting, _chain(rest, knowns.new))
    found = _fit(note, old, offer, new_loop)
    cutoff = _value(setting, found.filter.cutoff_hz)  # on its step, or of seven digits: a 32-bit float holds no more
    return WorkedOut({setting.name: cutoff}, _filter_words(found), _is_close(note, found))


def _fit(note: Refit, old: Chain, offer: CutoffOffer, loop_hz: float) -> FilterRefit:
    assert note.at_hz is not None
    at_hz = float(note.at_hz)
    if note.kind is RefitKind.FILTER_DELAY:
        return refit_to_delay(old, offer, loop_hz=loop_hz, frequency_hz=at_hz, kind=DelayKind(str(note.delay)))
    assert note.band_hz is not None
    low, high = map(float, note.band_hz)
    return refit_to_attenuation(old, offer, loop_hz=loop_hz, band_hz=(low, high), delay_at_hz=at_hz)


def _is_close(note: Refit, found: FilterRefit) -> bool:
    return found.changes[0].is_kept if note.kind is RefitKind.FILTER_DELAY else found.reached


def _filter_words(found: FilterRefit) -> str:
    if all(map(_is_same, found.changes)):
        return "that is the same filter, as far as 32-bit numbers can tell"
    return "; ".join(each.words for each in found.changes)


def _is_same(change: Change) -> bool:
    return abs(change.after - change.before) <= _SAME * max(abs(change.before), abs(change.after))


def _chain(forms: tuple[FilterForm, ...], known: Mapping[str, float]) -> tuple[Filter, ...]:
    """Return the filters that run; a cutoff of zero switches one off (common practice, no source)."""
    cutoffs = ((form, _computed(form.cutoff, known)) for form in forms)
    return tuple(each for form, cutoff in cutoffs if cutoff > 0 for each in _of_form(form, cutoff))


def _of_form(form: FilterForm, cutoff_hz: float) -> tuple[Filter, ...]:
    if form.kind == "butterworth":
        return butterworth(form.order, cutoff_hz) * form.copies
    made = Filter(FilterKind(form.kind), cutoff_hz, copies=form.copies, corrected=form.corrected)
    return (made if form.q is None else replace(made, q=float(form.q)),)


def _offer(form: FilterForm, setting: Setting, beside: tuple[Filter, ...]) -> CutoffOffer:
    low, high = _range(setting)
    step = _step(setting)
    if low <= 0:
        low = _LOWEST_CUTOFF_HZ if step is None else step
    first, *others = _of_form(form, max(low, _LOWEST_CUTOFF_HZ))
    return CutoffOffer(first, low, high, step, beside, tuple(others))


def _computed(text: str, known: Mapping[str, float]) -> float:
    formula = parse_formula(text)
    return formula.evaluate({name: _known(name, known) for name in formula.names})


def _known(name: str, known: Mapping[str, float]) -> float:
    if name not in known:
        raise impossible(f"the value of {name} is not known, or not decided yet")
    return known[name]


def _setting(name: str, knowns: Knowns) -> Setting:
    setting = None if knowns.catalogue is None else knowns.catalogue.get(name)
    if setting is None:
        raise impossible(f"no catalogue tells the range of {name}")
    return setting


def _range(setting: Setting) -> tuple[float, float]:
    if setting.type.is_text or setting.choices or setting.bits:
        raise impossible(f"{setting.name} is no number")
    if setting.type.is_float and (setting.minimum is None or setting.maximum is None):
        raise impossible(f"the catalogue tells no range of {setting.name}")
    low = setting.type.lowest if setting.minimum is None else setting.minimum.number
    high = setting.type.highest if setting.maximum is None else setting.maximum.number
    return float(low), float(high)


def _step(setting: Setting) -> float | None:
    step = setting.increment if setting.increment is not None and setting.increment > 0 else None
    if not setting.type.is_whole:
        return step
    return step if step is not None and float(step).is_integer() else 1.0


def _value(setting: Setting, number: float) -> Value:
    try:
        value = Value.of(setting.type, number)
    except ValueNotInTypeError as error:
        raise impossible(error.what.rstrip(".")) from error
    refusal = setting.refusal(value)
    if refusal is not None:
        raise impossible(refusal)
    return value


def impossible(why: str) -> RefitImpossibleError:
    """Return the error for a refit that cannot be worked out; `why` is half a sentence."""
    return RefitImpossibleError(
        f"The settings with the same effect cannot be worked out: {why}.",
        why="A refit needs both laws, the old values, and the ranges of the new settings.",
        todo="Decide the line by hand, or take the new default and set the feel anew.",
    )
