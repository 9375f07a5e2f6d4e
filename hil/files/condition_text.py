"""What must be so: `value`, `between`, `above`, `below`, `one-of`, `not`, `invalid`, `unchanged`.

Every text is turned into the unit of one signal; limits are exact.
"""

from decimal import Decimal

from hil.core.plan import Condition, Invalid, Limits, Not, OneOf, Unchanged
from hil.core.signal import EXACT, Kind, Signal, Value, show_value
from hil.files.grid import Grid
from hil.files.leaf import QUANTITY, RANGE, VALUE
from hil.files.mistake import Misread, Page, show
from hil.files.plan_shape import EDGES, EXCLUDED, LARGER_OF, TOLERANCES, VALUES
from hil.files.quantity import (
    difference_in,
    show_quantity,
    split_quantity,
    split_range,
    split_relative,
)
from hil.files.tree import Map, Node, Scalar, Seq
from hil.files.value import check_range, on_grid, read_value

_FOR_NUMBERS = ("between", "above", "below", "tolerance", "edges")

Worded = tuple[Condition, str]
"""A condition, and the same in words."""


class ConditionReader:
    """Reads the condition of one expectation for one signal."""

    def __init__(self, fields: dict[str, Node], signal: Signal, grid: Grid, page: Page) -> None:
        self.fields = fields
        self.signal = signal
        self.grid = grid
        self.page = page

    def read(self) -> Worded | None:
        """Return the condition; None, with the mistakes noted, where there is none."""
        before = self.page.count
        found = self._read()
        return found if self.page.count == before else None

    def _read(self) -> Worded | None:
        fields, signal = self.fields, self.signal
        if signal.kind is not Kind.NUMBER:
            for word in _FOR_NUMBERS:
                if word in fields:
                    what = f"`{word}` is for numbers, {signal.path} carries a {signal.kind.value}"
                    self.page.wrong(fields[word], what)
                    return None
        if "not" in fields:
            return self._not(fields["not"])
        if "invalid" in fields:
            return (Invalid(), "a sensor fault") if self._yes("invalid") else None
        if "unchanged" in fields:
            return self._unchanged() if self._yes("unchanged") else None
        return self._plain(fields)

    def _plain(self, fields: dict[str, Node]) -> Worded | None:
        if "value" in fields:
            return self._value(fields["value"], fields)
        if "one-of" in fields:
            return self._one_of(VALUES.open(fields["one-of"], self.page))
        inclusive = self._inclusive(fields)
        if "between" in fields:
            return self._between(fields["between"], inclusive)
        for word in ("above", "below"):
            if word in fields:
                return self._open_end(word, fields[word], inclusive)
        return None

    def _yes(self, word: str) -> bool:
        node = self.fields[word]
        if isinstance(node, Scalar) and node.text in ("yes", "true"):
            return True
        self.page.wrong(node, f"{word}: expected `yes`", "use `not` for the opposite")
        return False

    def _typed(self, node: Node, word: str, *, exact: bool) -> tuple[Value, str] | None:
        """Return a wanted value as the wire carries it, and in words."""
        text = VALUE.read(node, self.page, word)
        if text is None:
            return None
        try:
            value = read_value(text, self.signal)
            check_range(value, self.signal)
            if not exact:
                return value, show_value(value, self.signal)
            return self._exact(value, text)
        except Misread as misread:
            self.page.wrong(node, f"{word}: {misread.what}", misread.hint)
            return None

    def _exact(self, value: Value, text: str) -> tuple[Value, str]:
        shown = show_value(value, self.signal)
        try:
            sent = on_grid(value, text, self.signal, self.grid)
        except Misread as misread:
            raise Misread(misread.what, f"{misread.hint}, or give a tolerance") from misread
        if isinstance(sent, Decimal) and self.grid.form in ("f32", "f64"):
            sent = self.grid.nearest(sent)
        if sent == value:
            return value, shown
        return sent, f"{shown} ({show_value(sent, self.signal)} on the wire)"

    def _value(self, node: Node, fields: dict[str, Node]) -> Worded | None:
        if "tolerance" not in fields:
            if "edges" in fields:
                self.page.wrong(fields["edges"], "`edges` needs a `tolerance`")
            found = self._typed(node, "value", exact=True)
            return None if found is None else (OneOf(values=(found[0],)), found[1])
        found = self._typed(node, "value", exact=False)
        value = Decimal(1) if found is None else found[0]
        if not isinstance(value, Decimal):
            return None
        wide = self._tolerance(fields["tolerance"], value)
        if found is None:
            return None  # the tolerance was read for its own mistakes only
        if wide is None:
            return None
        width, note = wide
        inclusive = self._inclusive(fields)
        limits = Limits(
            low=EXACT.subtract(value, width),
            high=EXACT.add(value, width),
            low_inclusive=inclusive,
            high_inclusive=inclusive,
            target=value,
        )
        unit = self.signal.unit
        shown = f"{show_quantity(_padded(value, width), unit)} ± {show_quantity(width, unit)}"
        return limits, f"{shown}{note}" if inclusive else f"{shown}{note}, limits excluded"

    def _tolerance(self, node: Node, value: Decimal | None) -> tuple[Decimal, str] | None:
        """Return a tolerance in the signal's unit, and a note on how it came about."""
        if isinstance(node, Map):
            fields = LARGER_OF.open(node, self.page)
            if fields is None or "larger-of" not in fields:
                return None
            entries = TOLERANCES.open(fields["larger-of"], self.page)
            widths = [self._one_tolerance(entry, value) for entry in entries]
            if not widths or any(width is None for width in widths):
                return None
            texts = " and ".join(entry.text for entry in entries if isinstance(entry, Scalar))
            widest = max(width[0] for width in widths if width is not None)
            return widest, f" (the larger of {texts})"
        return self._one_tolerance(node, value)

    def _one_tolerance(self, node: Node, value: Decimal | None) -> tuple[Decimal, str] | None:
        text = QUANTITY.read(node, self.page, "tolerance")
        if text is None:
            return None
        try:
            return self._width(text, value)
        except Misread as misread:
            self.page.wrong(node, f"tolerance: {misread.what}", misread.hint)
            return None

    def _width(self, text: str, value: Decimal | None) -> tuple[Decimal, str]:
        share = split_relative(text)
        unit = self.signal.unit
        if share is None:
            if unit != "%" and split_quantity(text, f"0.5 {unit}")[1] == "%":
                raise _percent(text, unit)
            width, note = difference_in(text, unit), ""
        elif value is None:
            raise Misread("a share of a value that is not known yet", f"0.5 {unit}")
        elif value == 0:
            raise Misread(f"{show(text)} of 0 is nothing", f"0.1 {unit}")
        else:
            width, note = EXACT.multiply(EXACT.abs(value), share), f" ({text})"
        if width <= 0:
            raise Misread(f"{show(text)} allows nothing", "leave it out for an exact value")
        self._check_count(text, width)
        return width, note

    def _check_count(self, text: str, width: Decimal) -> None:
        """Refuse what is less than half a count: no reading could ever be off by so little."""
        count = self.signal.resolution
        if count is None or 2 * width >= count:
            return
        one = show_quantity(count, self.signal.unit)
        what = f"{show(text)} is less than half a count of {self.signal.path}, {one}"
        raise Misread(what, f"{one}, or leave it out for an exact value")

    def _unchanged(self) -> Worded | None:
        signal = self.signal
        if "tolerance" in self.fields:
            wide = self._tolerance(self.fields["tolerance"], None)
            if wide is None:
                return None
            shown = show_quantity(wide[0], signal.unit)
            return Unchanged(tolerance=wide[0]), f"unchanged ± {shown}"
        if signal.noise:
            shown = show_quantity(signal.noise, signal.unit)
            what = f"unchanged: {signal.path} wanders by {shown} at rest, so it needs a tolerance"
            double = show_quantity(EXACT.multiply(signal.noise, Decimal(2)), signal.unit)
            self.page.wrong(self.fields["unchanged"], what, f"tolerance: {double}")
            return None
        return Unchanged(), "unchanged"

    def _one_of(self, nodes: list[Node]) -> Worded | None:
        found = [self._typed(node, "one-of", exact=True) for node in nodes]
        known = [each for each in found if each is not None]
        if len(known) < len(nodes) or not known:
            return None
        values = tuple(value for value, _ in known)
        if len(set(values)) < len(values):
            self.page.wrong(nodes[-1], "one-of: the same value stands here twice")
        return OneOf(values=values), " or ".join(shown for _, shown in known)

    def _between(self, node: Node, inclusive: bool) -> Worded | None:
        text = RANGE.read(node, self.page, "between")
        if text is None:
            return None
        try:
            low, high = (self._number(end) for end in split_range(text))
            if low >= high:
                raise Misread("the first end must be below the second")
        except Misread as misread:
            self.page.wrong(node, f"between: {misread.what}", misread.hint)
            return None
        limits = Limits(low=low, high=high, low_inclusive=inclusive, high_inclusive=inclusive)
        ends = [show_quantity(end, self.signal.unit) for end in (low, high)]
        if inclusive:
            return limits, f"{ends[0]} to {ends[1]}"
        return limits, f"above {ends[0]} and below {ends[1]}"

    def _number(self, text: str) -> Decimal:
        value = read_value(text, self.signal)
        assert isinstance(value, Decimal)
        return value

    def _open_end(self, word: str, node: Node, inclusive: bool) -> Worded | None:
        text = QUANTITY.read(node, self.page, word)
        if text is None:
            return None
        try:
            limit = self._number(text)
        except Misread as misread:
            self.page.wrong(node, f"{word}: {misread.what}", misread.hint)
            return None
        shown = show_quantity(limit, self.signal.unit)
        if word == "above":
            limits = Limits(low=limit, high=None, low_inclusive=inclusive)
            return limits, f"at least {shown}" if inclusive else f"above {shown}"
        limits = Limits(low=None, high=limit, high_inclusive=inclusive)
        return limits, f"at most {shown}" if inclusive else f"below {shown}"

    def _inclusive(self, fields: dict[str, Node]) -> bool:
        if "edges" not in fields:
            return True
        return EDGES.read(fields["edges"], self.page, "edges") != "exclusive"

    def _not(self, node: Node) -> Worded | None:
        inner: Worded | None
        if isinstance(node, Seq):
            inner = self._one_of(VALUES.open(node, self.page))
        elif isinstance(node, Map):
            fields = EXCLUDED.open(node, self.page)
            if fields is None:
                return None
            inner = ConditionReader(fields, self.signal, self.grid, self.page)._read()
        else:
            inner = self._value(node, {})
        if inner is None or not isinstance(inner[0], Limits | OneOf):
            return None
        return Not(condition=inner[0]), f"anything but {inner[1]}"


def _percent(text: str, unit: str) -> Misread:
    what = f"{show(text)} does not say of what"
    return Misread(what, f"{text} of value, or a tolerance in {unit}")


def _padded(value: Decimal, width: Decimal) -> Decimal:
    """Give a value as many decimals as its tolerance has: 4.8 ± 0.05 reads 4.80 ± 0.05."""
    places = width.as_tuple().exponent
    own = value.as_tuple().exponent
    if not isinstance(places, int) or not isinstance(own, int) or places >= own or places < -12:
        return value
    return value.quantize(Decimal((0, (1,), places)), context=EXACT)
