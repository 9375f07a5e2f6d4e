"""Raw numbers and values: what one signal's count means.

Everything is decided on the raw number, before scaling: sentinels, the declared raw range, labels,
NaN and infinity.  Then value = raw × scale + offset, exactly (binary fractions to 50 digits).

Both directions are tables that fill themselves, because a resting signal sends the same few
counts over and over; a table that has grown large is emptied and begins again.
"""

import math
import struct
from decimal import Decimal
from typing import NamedTuple

from hil.core.error import HilError
from hil.core.signal import EXACT, Signal, Validity, Value, show_number
from hil.wire.rack import Encoding

_TABLE_SIZE = 2_048

Raw = int | float | bytes
"""A raw number, or the octets of a text."""


class WireError(HilError, ValueError):
    """A value cannot be put on the wire: it falls between two counts, or outside its field."""


class Form(NamedTuple):
    """The shape of one raw number: how many bits, and how they are read."""

    kind: str
    """u (unsigned), i (signed), f (binary fraction), text or bytes."""
    bits: int

    @property
    def low(self) -> int:
        return -(1 << self.bits - 1) if self.kind == "i" else 0

    @property
    def high(self) -> int:
        return (1 << self.bits - (self.kind == "i")) - 1


class Reading(NamedTuple):
    """What a datagram says about one signal, named in full."""

    signal: str
    value: Value | None
    validity: Validity
    note: str


def raw_ranges(encoding: Encoding, form: Form) -> tuple[tuple[int, int], ...]:
    """Return the sentinels as the field reads them: 0x8000 in a signed 16-bit field is -32768."""
    if form.kind != "i":
        return encoding.sentinels
    return tuple((_signed(low, form), _signed(high, form)) for low, high in encoding.sentinels)


def _signed(number: int, form: Form) -> int:
    return number - (1 << form.bits) if form.high < number < 1 << form.bits else number


def show_raw(raw: Raw, form: Form) -> str:
    """Show a raw number as it is on the wire: `0xff33`, `1.5`, `00ff`."""
    if isinstance(raw, bytes):
        return raw.hex()
    if isinstance(raw, float):
        return f"{raw:.7g}" if form.bits == 32 else repr(raw)
    return f"0x{raw & (1 << form.bits) - 1:0{(form.bits + 3) // 4}x}"


def scaled(encoding: Encoding, raw: int | float) -> Decimal:
    """Return raw × scale + offset, exactly; a binary fraction is taken to 50 digits."""
    value = EXACT.create_decimal_from_float(raw) if isinstance(raw, float) else Decimal(raw)
    if encoding.scale != 1:
        value = EXACT.multiply(value, encoding.scale)
    return EXACT.add(value, encoding.offset) if encoding.offset else value


class Readings(dict[Raw, Reading]):
    """The table from the raw numbers of one signal to what they say."""

    def __init__(self, path: str, signal: Signal | None, encoding: Encoding, form: Form) -> None:
        super().__init__()
        self.path = path
        self.encoding = encoding
        self.form = form
        self._signal = signal
        self._unit = f" {signal.unit}" if signal is not None and signal.unit else ""
        self._sentinels = raw_ranges(encoding, form)

    def __missing__(self, raw: Raw) -> Reading:
        if len(self) >= _TABLE_SIZE:
            self.clear()
        reading = self[raw] = self._read(raw)
        return reading

    def _read(self, raw: Raw) -> Reading:
        if isinstance(raw, bytes):
            return self._read_text(raw)
        if isinstance(raw, float) and not math.isfinite(raw):
            return self._invalid("NaN" if math.isnan(raw) else "infinity")
        encoding = self.encoding
        for first, last in self._sentinels:
            if first <= raw <= last:
                return self._invalid(f"sentinel {show_raw(raw, self.form)}")
        if encoding.labels:
            label = encoding.labels.get(int(raw))
            if label is None:
                return self._invalid(f"no label for {raw}")
            return Reading(self.path, label, Validity.VALID, "")
        low, high = encoding.low, encoding.high
        if (low is not None and raw < low) or (high is not None and raw > high):
            return self._invalid(self._outside(raw))
        value = scaled(encoding, raw)
        return Reading(self.path, value, Validity.VALID, self._oddity(raw, value))

    def _read_text(self, raw: bytes) -> Reading:
        if self.form.kind == "bytes":
            return Reading(self.path, raw.hex(), Validity.VALID, "")
        try:
            text = raw.split(b"\0", 1)[0].decode()
        except UnicodeDecodeError:
            return self._invalid(f"not UTF-8: {raw.hex()}")
        return Reading(self.path, text, Validity.VALID, "")

    def _invalid(self, note: str) -> Reading:
        return Reading(self.path, None, Validity.INVALID, note)

    def _outside(self, raw: int | float) -> str:
        """Say that a raw number is outside its range, and whether the other sign would fit."""
        encoding, unit = self.encoding, self._unit
        low = "" if encoding.low is None else show_number(scaled(encoding, encoding.low))
        high = "" if encoding.high is None else show_number(scaled(encoding, encoding.high))
        value = scaled(encoding, raw)
        shown = show_number(value) if isinstance(raw, int) else f"{float(value):.7g}"
        words = f"{low} to {high}" if low and high else f"{low} and up" if low else f"up to {high}"
        bounds = [bound for bound in (encoding.low, encoding.high) if bound is not None]
        largest = max(abs(scaled(encoding, bound)) for bound in bounds)
        odd = "implausible, " if abs(value) > 1000 * largest > 0 else ""
        text = f"{shown}{unit} is {odd}outside the declared range {words}{unit}"
        text += f", raw {show_raw(raw, self.form)}"
        other = other_sign(raw, self.form)
        if other is None or (encoding.low is not None and other < encoding.low):
            return text
        if encoding.high is not None and other > encoding.high:
            return text
        word = "unsigned" if self.form.kind == "i" else "signed"
        return f"{text}; read as {word} it is {show_number(scaled(encoding, other))}{unit}"

    def _oddity(self, raw: int | float, value: Decimal) -> str:
        for low, high in self._sentinels:
            if raw in (low - 1, high + 1):
                return "next to a sentinel"
        signal = self._signal
        if signal is None or (signal.low is None and signal.high is None):
            return ""
        if (signal.low is None or value >= signal.low) and (
            signal.high is None or value <= signal.high
        ):
            return ""
        return "outside the signal's range"


def other_sign(raw: Raw, form: Form) -> int | None:
    """Return the same bits read with the other signedness; None where that changes nothing."""
    if not isinstance(raw, int) or form.kind not in "ui":
        return None
    if form.kind == "i":
        return raw + (1 << form.bits) if raw < 0 else None
    return raw - (1 << form.bits) if raw >> form.bits - 1 else None


class Counts(dict[Value | None, Raw]):
    """The table from the values of one signal to raw numbers; None stands for no measurement.

    Looking up a value raises WireError where it falls between two counts or does not fit.
    """

    def __init__(self, name: str, encoding: Encoding, form: Form) -> None:
        super().__init__()
        self.encoding = encoding
        self.form = form
        self._name = name
        self._sentinels = raw_ranges(encoding, form)
        self._labels = {label: raw for raw, label in encoding.labels.items()}

    def __missing__(self, value: Value | int | None) -> Raw:
        raw = self._count(Decimal(value) if isinstance(value, int) else value)
        if len(self) >= _TABLE_SIZE:
            self.clear()
        self[value if value is None or isinstance(value, str) else Decimal(value)] = raw
        return raw

    def nearest(self, value: Decimal) -> Decimal:
        """Return the value of the nearest count that means a measurement."""
        encoding, form = self.encoding, self.form
        raw = EXACT.divide(EXACT.subtract(value, encoding.offset), encoding.scale)
        if form.kind == "f":
            return scaled(encoding, _rounded(float(raw), form.bits))
        low = form.low if encoding.low is None else max(form.low, encoding.low)
        high = form.high if encoding.high is None else min(form.high, encoding.high)
        count = int(raw.to_integral_value(context=EXACT)) if abs(raw) < 1 << 66 else int(raw)
        return scaled(encoding, min(max(count, low), high))

    def _count(self, value: Value | None) -> Raw:
        if self.form.kind in ("text", "bytes"):
            return self._octets(value)
        if value is None:
            return self._no_measurement()
        if isinstance(value, str):
            if value not in self._labels:
                raise WireError(f"{self._name}: no count is named {value!r}")
            return self._checked(self._labels[value], value)
        if not value.is_finite():
            raise WireError(f"{self._name}: {value} is no number")
        if self.encoding.labels:
            return self._checked(int(value), show_number(value))
        return self._number(value)

    def _number(self, value: Decimal) -> Raw:
        encoding = self.encoding
        count = EXACT.divide(EXACT.subtract(value, encoding.offset), encoding.scale)
        if self.form.kind == "f":
            return self._fraction(float(count), value)
        if abs(count) >= 1 << 66:
            raise WireError(f"{self._name}: {show_number(value)} does not fit into its field")
        raw = int(count.to_integral_value(context=EXACT))
        exact = scaled(encoding, raw)
        if exact != value:
            step = -1 if (exact > value) == (encoding.scale > 0) else 1
            near = sorted((exact, scaled(encoding, raw + step)))
            between = f"{show_number(near[0])} and {show_number(near[1])}"
            raise WireError(
                f"{self._name}: {show_number(value)} falls between two counts, {between}"
            )
        if any(low <= raw <= high for low, high in self._sentinels):
            shown = show_raw(raw, self.form)
            raise WireError(
                f"{self._name}: {show_number(value)} is sent as {shown}, which is a sentinel"
            )
        return self._checked(raw, show_number(value))

    def _checked(self, raw: int, shown: str) -> int:
        low, high = self.form.low, self.form.high
        if not low <= raw <= high:
            raise WireError(
                f"{self._name}: {shown} does not fit into its field, raw {raw} of {low} to {high}"
            )
        return raw

    def _fraction(self, number: float, value: Decimal) -> float:
        rounded = _rounded(number, self.form.bits)
        if math.isinf(rounded):
            raise WireError(f"{self._name}: {value:g} does not fit into its field")
        return rounded

    def _no_measurement(self) -> Raw:
        if self._sentinels:
            return self._checked(self._sentinels[0][0], "no measurement")
        if self.form.kind == "f":
            return math.nan
        raise WireError(f"{self._name}: has no sentinel, so it cannot say that there is no value")

    def _octets(self, value: Value | None) -> bytes:
        if not isinstance(value, str):
            raise WireError(f"{self._name}: wants text, got {value}")
        size = self.form.bits // 8
        try:
            octets = value.encode() if self.form.kind == "text" else bytes.fromhex(value)
        except ValueError:
            raise WireError(f"{self._name}: {value!r} cannot be written as octets") from None
        if self.form.kind == "text" and b"\0" in octets:
            raise WireError(f"{self._name}: text cannot hold a zero octet")
        if len(octets) > size:
            raise WireError(f"{self._name}: {len(octets)} octets do not fit into {size}")
        return octets.ljust(size, b"\0")


def _rounded(number: float, bits: int) -> float:
    """Round to the nearest number of the wire's own type; infinity where it is too large."""
    if bits == 64 or not math.isfinite(number):
        return number
    try:
        rounded: float = struct.unpack(">f", struct.pack(">f", number))[0]
    except OverflowError:
        return math.inf
    return rounded
