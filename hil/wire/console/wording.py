"""Values as they stand on a line: a command's words out of a value, a value out of a line's words.

A number is decided on as it stands there, before scaling, as on any other wire: sentinels first,
then value = number × scale + offset, exactly; what lies outside the declared range is no reading.
A state may be written as its label or as its raw number.
"""

import re
from decimal import Decimal, InvalidOperation

from hil.core.signal import EXACT, Kind, Signal, Validity, Value, show_number, show_value
from hil.wire.encoding import WireError, scaled
from hil.wire.rack import Encoding

Told = tuple[Value | None, Validity, str]
"""A value, whether it is one, and a note about it."""

MOST_DIGITS = 40
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_HEX = re.compile(r"([+-]?)0[xX]([0-9A-Fa-f]{1,16})", re.ASCII)
_PLACES = re.compile(r"\{(value|raw)\}")


def phrase(template: str, signal: Signal, encoding: Encoding, value: Value, ending: bytes) -> bytes:
    """Return the octets of a command.  Raises WireError where the value cannot be written."""
    texts = {"value": _written(signal, encoding, value), "raw": _raw(signal, encoding, value)}
    said = _PLACES.sub(lambda place: texts[place[1]], template)
    if not said.isprintable():
        raise WireError(f"{signal.path}: {said!r} is not one line of printable text")
    return said.encode("utf-8") + ending


def _written(signal: Signal, encoding: Encoding, value: Value) -> str:
    if isinstance(value, str):
        if signal.kind is Kind.LABEL and value not in signal.labels:
            raise WireError(f"{signal.path}: no state is called {value!r}")
        return value
    return show_number(_unscaled(encoding, value))


def _raw(signal: Signal, encoding: Encoding, value: Value) -> str:
    if signal.kind is Kind.LABEL:
        numbers = {label: raw for raw, label in encoding.labels.items()}
        return str(numbers.get(str(value), value))
    return _written(signal, encoding, value)


def _unscaled(encoding: Encoding, value: Decimal) -> Decimal:
    number = EXACT.divide(EXACT.subtract(value, encoding.offset), encoding.scale)
    if EXACT.add(EXACT.multiply(number, encoding.scale), encoding.offset) != value:
        raise WireError(f"{show_number(value)} cannot be written as a decimal number")
    whole = number.to_integral_value(context=EXACT)
    return whole if whole == number else number.normalize(EXACT)


def understood(word: str, signal: Signal, encoding: Encoding) -> Told:
    """Return what a word on a line says about a signal; no word whatever raises anything."""
    if signal.kind is Kind.TEXT:
        return word, Validity.VALID, ""
    word = word.strip()
    number = _number(word)
    if signal.kind is Kind.LABEL:
        if word in signal.labels:
            return word, Validity.VALID, ""
        label = None
        if number is not None and number == number.to_integral_value(context=EXACT):
            label = encoding.labels.get(int(number))
        if label is None:
            return None, Validity.INVALID, f"no label for {word!r}"
        return label, Validity.VALID, ""
    if number is None:
        return None, Validity.INVALID, f"{word!r} is no number"
    if any(low <= number <= high for low, high in encoding.sentinels):
        return None, Validity.INVALID, f"sentinel {word}"
    value = EXACT.add(EXACT.multiply(number, encoding.scale), encoding.offset)
    if _outside(value, signal):
        return None, Validity.INVALID, _told_outside(value, signal)
    return value, Validity.VALID, ""


def _number(word: str) -> Decimal | None:
    hexadecimal = _HEX.fullmatch(word)
    if hexadecimal is not None:
        number = int(hexadecimal[2], 16)
        return Decimal(-number if hexadecimal[1] == "-" else number)
    if len(word) > MOST_DIGITS or _NUMBER.fullmatch(word) is None:
        return None
    try:
        return Decimal(word)
    except InvalidOperation:
        return None


def _outside(value: Decimal, signal: Signal) -> bool:
    low, high = signal.low, signal.high
    return (low is not None and value < low) or (high is not None and value > high)


def _told_outside(value: Decimal, signal: Signal) -> str:
    ends = [show_value(end, signal) for end in (signal.low, signal.high) if end is not None]
    shown = (
        show_number(value) if abs(value.adjusted()) < MOST_DIGITS else f"{value.normalize(EXACT):g}"
    )
    unit = f" {signal.unit}" if signal.unit else ""
    return f"{shown}{unit} is outside the declared range {' to '.join(ends)}"


__all__ = ["Told", "phrase", "scaled", "understood"]
