"""Where each setting stands in a console's listing, so that it can be set in the words of its line. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rotorwright.settings.dialects.changing import changed_line, line_to_set
from rotorwright.settings.dialects.listing import LineKind
from rotorwright.settings.dialects.typed import listed_values

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rotorwright.settings.dialects.dialect import Dialect, LineForm
    from rotorwright.settings.dialects.listing import Line, ListedSetting, Listing
    from rotorwright.settings.values import Value


@dataclass(frozen=True, slots=True)
class Place:
    """One setting in the listing.

    Args:
        line: the line it stands in.
        number: which setting of that line it is, from 0.
        family: the form of that line.
        openers: lines that open the sections it is in, outermost first.
        closers: lines that close them again, innermost first.
    """

    line: Line
    number: int
    family: LineForm
    openers: tuple[str, ...] = ()
    closers: tuple[str, ...] = ()

    @property
    def setting(self) -> ListedSetting:
        """The setting as it was listed."""
        return self.line.settings[self.number]

    def line_with(self, value: Value, dialect: Dialect) -> str | None:
        """Return the line to send so that the setting takes `value`; nothing if the dialect does not say how.

        Raises:
            ValueNotPrintableError: in the listing it would not read back as this value.
        """
        values = listed_values(value, self.family, dialect)
        changed_line(dialect, self.line, self.number, values)
        said = values if self.setting.is_flag else (value.text,)
        return line_to_set(dialect, self.family, self.setting.key, said)


def places_of(listing: Listing, dialect: Dialect) -> Mapping[str, Place]:
    """Return the place of each setting by name."""
    families = {family.id: family for family in dialect.lines}
    closes = {section.id: section.close for section in dialect.sections}
    places: dict[str, Place] = {}
    opened: dict[tuple[str, ...], tuple[tuple[str, str], ...]] = {(): ()}
    for line in listing.lines:
        if line.kind is LineKind.SECTION and line.section:
            outer = opened.get(line.section[:-1], ())
            opened.setdefault(line.section, (*outer, (line.text.strip(), closes[line.family])))
        for number, setting in enumerate(line.settings):
            steps = opened.get(line.section, ())
            openers = tuple(text for text, _ in steps)
            closers = tuple(close for _, close in reversed(steps) if close)
            places[setting.name] = Place(line, number, families[line.family], openers, closers)
    return places
