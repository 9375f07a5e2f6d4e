"""Which values a wire can carry: counts of whole numbers, binary fractions, or any.

A value that falls between two counts is refused with both neighbours; one written in another unit
than the signal's own goes to the nearest count, because 1.57 rad is no whole number of tenths of a
degree.
"""

import struct
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal

from hil.core.signal import EXACT
from hil.wire.encoding import scaled
from hil.wire.rack import Carries, Encoding, Field, Layout, Role


@dataclass(frozen=True, slots=True)
class Grid:
    """The values that one field can carry; `form` as in a field, or empty for any value."""

    encoding: Encoding
    form: str

    def neighbours(self, value: Decimal) -> tuple[Decimal, Decimal] | None:
        """Return the values of the counts around `value`; None where it is one itself."""
        if not self.form or self.form[0] == "f":
            return None
        count = self._count(value)
        below = count.to_integral_value(rounding=ROUND_FLOOR, context=EXACT)
        if below == count or scaled(self.encoding, int(below)) == value:
            return None
        ends = sorted(scaled(self.encoding, int(below) + step) for step in (0, 1))
        return ends[0], ends[1]

    def nearest(self, value: Decimal) -> Decimal:
        """Return the value that the wire would carry for `value`."""
        if not self.form:
            return value
        if self.form[0] == "f":
            return self._rounded(value)
        around = self.neighbours(value)
        if around is None:
            return value
        below, above = around
        low_gap, high_gap = EXACT.subtract(value, below), EXACT.subtract(above, value)
        return below if low_gap < high_gap else above

    def _count(self, value: Decimal) -> Decimal:
        return EXACT.divide(EXACT.subtract(value, self.encoding.offset), self.encoding.scale)

    def _rounded(self, value: Decimal) -> Decimal:
        number = float(self._count(value))
        if self.form == "f32":
            try:
                number = struct.unpack(">f", struct.pack(">f", number))[0]
            except OverflowError:
                return value
        return scaled(self.encoding, number)


def raw_fields(layout: Layout) -> Iterator[tuple[Field, int]]:
    """Return every field of a layout with its width in bits, the parts of bit fields by themselves."""
    for field in layout.fields:
        if not field.parts:
            yield field, field.size * 8
        for part, _, width in field.parts:
            yield part, width


def all_parts(fields: Iterable[Field]) -> Iterator[Field]:
    """Return the fields and the parts of bit fields, in the order of the wire."""
    for field in fields:
        yield field
        yield from (part for part, _, _ in field.parts)


def reading_fields(layouts: tuple[Layout, ...], signal: str) -> list[tuple[Field, int]]:
    """Return the fields of a node's readings that carry a signal, with their width in bits."""
    return [
        (field, width)
        for layout in layouts
        if layout.role is Role.READING
        for field, width in raw_fields(layout)
        if field.carries is Carries.SIGNAL and field.name == signal
    ]


def command_field(layouts: tuple[Layout, ...], text: bool) -> tuple[Field, int] | None:
    """Return the value field of the first request that suits text (or numbers), with its width."""
    for layout in layouts:
        if layout.role is not Role.REQUEST:
            continue
        for field, width in raw_fields(layout):
            if field.carries is Carries.VALUE and (field.form in ("text", "bytes")) == text:
                return field, width
    return None
