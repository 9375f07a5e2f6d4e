"""What stands in a payload, as the value of a signal.

    number   raw × scale + offset, exactly; sentinels are raw numbers, the range is the signal's
    label    by its word, its raw number, or as a switch, as the bench file says (Written)
    text     as it is; octets in hex

The node says that it has no value where a number is NaN, infinite, null, a sentinel, or outside the
declared range, where a label is not one of the signal's, and where the part is missing.
"""

from decimal import Decimal

from hil.core.signal import EXACT, Kind, Signal, Validity, show_number, show_value
from hil.wire.coap.description import Part, Written
from hil.wire.coap.number import Unreadable, exact, of_float
from hil.wire.coap.payload import Content, Missing
from hil.wire.coap.senml import Scalar
from hil.wire.encoding import Reading
from hil.wire.rack import Encoding


def read_part(content: Content, part: Part, signal: Signal, encoding: Encoding) -> Reading:
    """Return what a payload says about a signal; never raises."""
    try:
        found = content.find(part)
        if found is None:
            raise Missing("is null")
        if content.is_text and signal.kind is not Kind.TEXT:
            found = _spelled_out(str(found), part, signal.kind)
        if signal.kind is Kind.TEXT:
            return Reading(signal.path, _text(found), Validity.VALID, "")
        if signal.kind is Kind.LABEL:
            return Reading(signal.path, _label(found, part, encoding), Validity.VALID, "")
        return _number(_raw(found, part), signal, encoding)
    except (Missing, Unreadable) as error:
        return Reading(signal.path, None, Validity.INVALID, str(error))


def read_fact(content: Content, part: Part) -> str:
    """Return a fact about the node as text.  Raises Missing."""
    found = content.find(part)
    if found is None or isinstance(found, bool):
        raise Missing("is neither a number nor a text")
    if isinstance(found, float):
        found = of_float(found)
    return show_number(found) if isinstance(found, Decimal) else _text(found).strip()


def _text(found: Scalar) -> str:
    if isinstance(found, bytes):
        return found.hex()
    if not isinstance(found, str):
        raise Missing(f"is {_shown(found)}, no text")
    try:
        found.encode()
    except UnicodeEncodeError:
        raise Missing("is a text with half a character in it") from None
    return found


def _label(found: Scalar, part: Part, encoding: Encoding) -> str:
    """Return the label that is meant."""
    labels = encoding.labels
    if part.written is Written.WORD:
        if not isinstance(found, str) or found not in labels.values():
            raise Missing(f"is {_shown(found)}, none of {', '.join(labels.values())}")
        return found
    if part.written is Written.BOOLEAN:
        if not isinstance(found, bool):
            raise Missing(f"is {_shown(found)}, neither true nor false")
        return labels[int(found)]
    number = _raw(found, part)
    raw = int(number) if _is_whole(number) else None
    if raw is not None and any(low <= raw <= high for low, high in encoding.sentinels):
        raise Missing(f"sentinel {raw}")
    if raw is None or raw not in labels:
        raise Missing(f"no label for {show_number(number)}")
    return labels[raw]


_SWITCHES = {"true": True, "false": False}


def _spelled_out(text: str, part: Part, kind: Kind) -> Scalar:
    """Return what a plain text means: a number with nothing but its suffix, a switch, a word."""
    shown, text = _shown(text), text.strip()
    if kind is Kind.LABEL and part.written is not Written.NUMBER:
        switch = part.written is Written.BOOLEAN
        return _SWITCHES.get(text, text) if switch else text
    if part.suffix:
        if not text.endswith(part.suffix):
            raise Missing(f"is {shown}, declared is a number and {part.suffix!r}")
        text = text.removesuffix(part.suffix).strip()
    try:
        if text.isascii() and "_" not in text:
            return exact(text)
    except Unreadable:
        pass
    raise Missing(f"is {shown}, no number")


def _raw(found: Scalar, part: Part) -> Decimal:
    """Return the raw number."""
    if isinstance(found, float):
        return of_float(found, part.binary32)
    if isinstance(found, Decimal):
        return found
    raise Missing(f"is {_shown(found)}, no number")


def _number(raw: Decimal, signal: Signal, encoding: Encoding) -> Reading:
    if not raw.is_finite():
        raise Missing("NaN" if raw.is_nan() else "infinity")
    for low, high in encoding.sentinels:
        if _is_whole(raw) and low <= raw <= high:
            raise Missing(f"sentinel {show_number(raw)}")
    value = EXACT.add(EXACT.multiply(raw, encoding.scale), encoding.offset)
    if (signal.low is not None and value < signal.low) or (
        signal.high is not None and value > signal.high
    ):
        ends = [end for end in (signal.low, signal.high) if end is not None]
        largest = max(abs(end) for end in ends)
        odd = "implausible, " if abs(value) > 1000 * largest > 0 else ""
        words = " to ".join(show_number(end) for end in ends)
        shown = show_value(value, signal)
        raise Missing(
            f"{shown} is {odd}outside the declared range {words} {signal.unit}, "
            f"raw {show_number(raw)}"
        )
    near = any(raw in (low - 1, high + 1) for low, high in encoding.sentinels)
    return Reading(signal.path, value, Validity.VALID, "next to a sentinel" if near else "")


def _is_whole(number: Decimal) -> bool:
    return number.is_finite() and number == number.to_integral_value(context=EXACT)


def _shown(found: Scalar) -> str:
    if isinstance(found, bool):
        return "true" if found else "false"
    if found is None:
        return "null"
    if isinstance(found, bytes):
        return f"octets {found.hex()[:40]}"
    if isinstance(found, str):
        return repr(found[:40])
    return show_number(of_float(found) if isinstance(found, float) else found)
