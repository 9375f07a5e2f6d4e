"""What may lie behind a value that was not the wanted one.

A hint is a guess for the failure message and never changes a verdict.  The questions, in order:

    would another unit explain it?           1013.25 kPa, wanted 101.3 ± 1: fits as hPa
    would a fraction or a percentage?        0.45 %, wanted 45 ± 3: looks like a fraction
    would a factor of ten to ten thousand?   0.0045 %, wanted 45 ± 3: 10000 times too small
    would the other signedness?              6533.1 °C from 0xff33: read as signed it is -20.5 °C
    would another octet order?               3.9e+23 kPa: plausible if read little-endian
"""

import math
import struct
from collections.abc import Iterator
from decimal import Decimal

from hil.core.plan import Limits
from hil.core.signal import EXACT, Signal, Value, show_number
from hil.wire.encoding import Form, Raw, other_sign, scaled, show_raw
from hil.wire.frame import Place, big_order
from hil.wire.layout import Codec
from hil.wire.rack import Carries, Encoding, Node, Role

_SLACK = Decimal("0.02")

# How many of the first unit of each row one of these is.  Exact by definition (BIPM SI Brochure,
# 9th edition; 1 in = 25.4 mm and 1 lb = 0.453 592 37 kg by the agreement of 1959), psi and mmHg
# rounded to seven digits.
_UNITS: tuple[dict[str, str], ...] = (
    {
        "Pa": "1",
        "hPa": "100",
        "mbar": "100",
        "kPa": "1000",
        "bar": "100000",
        "MPa": "1000000",
        "psi": "6894.757",
        "mmHg": "133.3224",
    },
    {"mm": "1", "cm": "10", "in": "25.4", "ft": "304.8", "m": "1000"},
    {"deg": "1", "rad": "57.29577951308232"},
    {"ms": "1", "s": "1000", "min": "60000"},
    {"rpm": "1", "Hz": "60"},
    {"fraction": "100", "%": "1"},
)
_FACTORS = (10, 100, 1000, 10000)
_WIDE = 4
"""A window of numbers that differ by more than this factor says nothing about ratios."""
_SELDOM = 100
"""One raw number in so many may lie in a window by chance."""


def explain_value(node: Node, payload: bytes, signal: str, limits: Limits) -> str:
    """Return hints on why a signal's value in `payload` is outside `limits`, or an empty text.

    `signal` is the name within the node or in full; `payload` a reading of that node.  The raw
    octets always stand first: `raw ff33; read as signed it is -20.5 °C`.
    """
    name = signal.removeprefix(f"{node.name}.")
    for layout in node.layouts:
        if layout.role is not Role.READING or len(payload) < layout.size:
            continue
        codec = Codec(layout, node)
        if codec.decode(payload) is None:
            continue
        head = payload[: codec.size]
        for place, raw in zip(codec.places, codec.frame.raws(head), strict=True):
            if place.field.carries is Carries.SIGNAL and place.field.name == name:
                return "; ".join(_hints(codec, place, raw, head, limits))
    return ""


def explain_number(value: Value | None, signal: Signal, limits: Limits) -> str:
    """Return a hint on a number that came without octets of its own: another unit, a factor."""
    window = _window(limits)
    if not isinstance(value, Decimal) or window is None:
        return ""
    return "; ".join(explain_ratio(value, window, signal.unit))


def _hints(codec: Codec, place: Place, raw: Raw, payload: bytes, limits: Limits) -> Iterator[str]:
    yield f"raw {show_raw(raw, place.form)}"
    name = place.field.name
    encoding, signal = codec.encoding(name), codec.signal_named(name)
    if isinstance(raw, bytes) or encoding.labels:
        return
    window = _window(limits)
    if window is None:
        window = _declared(signal)
    if math.isfinite(raw) and window is not None and limits.low is not None:
        yield from explain_ratio(scaled(encoding, raw), window, signal.unit if signal else "")
    unit = f" {signal.unit}" if signal is not None and signal.unit else ""
    seen = _telling(encoding, place.form, raw, limits, _declared(signal))
    if seen is None:
        return
    other = other_sign(raw, place.form)
    if other is not None and _inside(scaled(encoding, other), seen):
        word = "unsigned" if place.form.kind == "i" else "signed"
        yield f"read as {word} it is {show_number(scaled(encoding, other))}{unit}"
    yield from _orders(place, payload, encoding, seen, unit)


def _window(limits: Limits) -> tuple[Decimal, Decimal] | None:
    """Return both limits, a little widened, for a first look at what may have been meant."""
    low, high = limits.low, limits.high
    if low is None or high is None:
        return None
    middle = abs(low + high) / 2 if limits.target is None else abs(limits.target)
    room = EXACT.multiply(middle, _SLACK)
    return low - room, high + room


def _declared(signal: Signal | None) -> tuple[Decimal, Decimal] | None:
    if signal is None or signal.low is None or signal.high is None:
        return None
    return signal.low, signal.high


def _telling(
    encoding: Encoding,
    form: Form,
    raw: int | float,
    limits: Limits,
    declared: tuple[Decimal, Decimal] | None,
) -> tuple[Decimal, Decimal] | None:
    """Return the window in which a value would tell that its octets are read wrongly.

    None where it tells nothing: chance finds an octet order for a value that may be anywhere in a
    wide window, and a value that can be measured is most likely what was measured.
    """
    value = scaled(encoding, raw) if math.isfinite(raw) else None
    wanted = _window(limits)
    if value is not None and wanted is not None and _inside(value, wanted):
        return None
    if value is None or (declared is not None and not _inside(value, declared)):
        return wanted or declared
    return wanted if wanted is not None and _is_narrow(wanted, encoding, form) else None


def _is_narrow(window: tuple[Decimal, Decimal], encoding: Encoding, form: Form) -> bool:
    """Say whether hardly any raw number lies in a window."""
    low, high = window
    if form.kind == "f":
        return low * high > 0 and max(low / high, high / low) <= _WIDE
    return (high - low) * _SELDOM <= abs(encoding.scale) * (1 << form.bits)


def _inside(value: Decimal, window: tuple[Decimal, Decimal]) -> bool:
    return window[0] <= value <= window[1]


def explain_ratio(got: Decimal, window: tuple[Decimal, Decimal], unit: str = "") -> list[str]:
    """Say which known ratio lies between a value and what was wanted: at most one sentence.

    A window that holds 0, or is wider than a factor of four, says nothing.
    """
    low, high = window
    if not got or low <= got <= high or low * high <= 0 or max(low / high, high / low) > _WIDE:
        return []
    if unit == "%" and _inside(got * 100, window):
        return ["looks like a fraction shown as %"]
    if unit == "fraction" and _inside(got / 100, window):
        return ["looks like a percentage shown as a fraction"]
    for row in _UNITS:
        for other, size in row.items():
            if unit in row and other != unit:
                meant = EXACT.divide(EXACT.multiply(got, Decimal(size)), Decimal(row[unit]))
                if _inside(meant, window):
                    ratio = EXACT.divide(Decimal(row[unit]), Decimal(size))
                    times = f"x{ratio:f} " if ratio in _FACTORS else ""
                    return [f"{times}too large: fits as {other}"] if times else [f"fits as {other}"]
    for factor in _FACTORS:
        if _inside(got / factor, window):
            return [f"{factor} times too large"]
        if _inside(got * factor, window):
            return [f"{factor} times too small"]
    return []


def _orders(
    place: Place, payload: bytes, encoding: Encoding, window: tuple[Decimal, Decimal], unit: str
) -> Iterator[str]:
    """Yield the octet orders in which the value would be plausible."""
    size = place.size
    if size < 2 or place.form.bits != 8 * size:
        return
    declared = big_order(place.field)
    sent = payload[place.offset : place.offset + size]
    for word, order in _known_orders(size):
        if order == declared:
            continue
        raw = _read(bytes(sent[order.index(rank)] for rank in range(size)), place.form)
        if not math.isfinite(raw):
            continue
        value = scaled(encoding, raw)
        if _inside(value, window) and value:
            shown = f"{float(value):.7g}" if isinstance(raw, float) else show_number(value)
            yield f"plausible if read {word}: {shown}{unit}"


def _known_orders(size: int) -> Iterator[tuple[str, tuple[int, ...]]]:
    big = tuple(range(size))
    yield "big-endian", big
    yield "little-endian", big[::-1]
    if size in (4, 8):
        pairs = [big[at : at + 2] for at in range(0, size, 2)]
        yield "with its words swapped", tuple(rank for pair in reversed(pairs) for rank in pair)
        yield "with the octets of its words swapped", tuple(r for p in pairs for r in p[::-1])


def _read(big: bytes, form: Form) -> int | float:
    if form.kind == "f":
        number: float = struct.unpack(">f" if form.bits == 32 else ">d", big)[0]
        return number
    return int.from_bytes(big, "big", signed=form.kind == "i")
