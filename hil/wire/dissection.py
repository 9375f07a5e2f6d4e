"""A datagram taken apart by a layout: which octets are which field, and what each of them says.

This is the slow way, for people who look at octets.  It also takes apart what does not fit: a
datagram that is cut off, one with octets too many, a constant or a CRC that is not as declared.
"""

from collections.abc import Iterator
from typing import NamedTuple

from hil.core.instant import Duration, show_duration
from hil.core.signal import Signal, Validity, show_value
from hil.wire.appended import belongs, constant_of
from hil.wire.crc import calculator, explain_mismatch
from hil.wire.encoding import Raw, Reading, Readings
from hil.wire.frame import Frame, Place
from hil.wire.layout import Codec
from hil.wire.rack import Carries, Encoding, Field, Node


class Part(NamedTuple):
    """One field of a datagram: `size` octets from `offset`, or some of their bits.

    `raw` are its octets in hex (or its bits as a number), `value` what they mean in words, and
    `wrong` is empty where that is as declared; `first` is then the first octet that is not.
    """

    name: str
    carries: Carries
    offset: int
    size: int
    bits: str
    raw: str
    value: str
    wrong: str = ""
    first: int = 0


def dissect(codec: Codec, payload: bytes) -> tuple[Part, ...]:
    """Return the parts of a datagram in the order of the wire, whatever its length is."""
    return tuple(_parts(codec, payload))


def _parts(codec: Codec, payload: bytes) -> Iterator[Part]:
    filled = payload[: codec.size].ljust(codec.size, b"\0")
    pairs = list(zip(codec.places, codec.frame.raws(filled), strict=True))
    operation = next(
        (raw for place, raw in pairs if place.field.carries is Carries.OPERATION), None
    )
    offset = 0
    for field in codec.layout.fields:
        octets = payload[offset : offset + field.size]
        own = [(place, raw) for place, raw in pairs if _is_of(place, field, offset)]
        if len(octets) < field.size:
            yield _cut_off(field, offset, octets, len(payload))
        elif not own:
            yield Part("padding", Carries.PADDING, offset, field.size, "", octets.hex(), "")
        for place, raw in own if len(octets) == field.size else ():
            yield _part(codec, place, raw, operation, payload)
        offset += field.size
    rest = payload[codec.size :]
    if rest:
        allowed = codec.layout.append_allowed
        text = "appended, not looked at" if allowed else ""
        wrong = "" if allowed else "more than the layout has"
        padding = Carries.PADDING
        yield Part("", padding, codec.size, len(rest), "", rest.hex(), text, wrong, codec.size)


def _is_of(place: Place, field: Field, offset: int) -> bool:
    own = place.field is field or any(part is place.field for part, _, _ in field.parts)
    return own and place.offset == offset


def _cut_off(field: Field, offset: int, octets: bytes, length: int) -> Part:
    wrong = "cut off" if octets else "missing"
    name = field.name or ("padding" if field.form == "pad" else " ".join(_names(field)))
    return Part(name, field.carries, offset, field.size, "", octets.hex(), "", wrong, length)


def _names(field: Field) -> list[str]:
    return [part.name for part, _, _ in field.parts]


def _part(codec: Codec, place: Place, raw: Raw, operation: Raw | None, payload: bytes) -> Part:
    field = place.field
    octets = payload[place.offset : place.offset + place.size]
    bits, shown = "", octets.hex()
    if place.form.kind not in ("text", "bytes") and place.form.bits < 8 * place.size:
        bits = _bits(place)
        shown = f"{int(raw) & (1 << place.form.bits) - 1:#x}" if not isinstance(raw, bytes) else ""
    value, wrong = _meaning(codec, place, raw, operation, payload)
    first = place.offset
    if field.carries is Carries.CONSTANT and wrong:
        first += _first_unlike(octets, place)
    return Part(
        field.name, field.carries, place.offset, place.size, bits, shown, value, wrong, first
    )


def _bits(place: Place) -> str:
    """Return which bits of its octets a part is, counted from the least significant."""
    wide = next(size for size in (1, 2, 4, 8) if size >= place.size)
    low = place.shift - 8 * (wide - place.size)
    high = low + place.form.bits - 1
    return f"bit {low}" if high == low else f"bits {low} to {high}"


def _first_unlike(octets: bytes, place: Place) -> int:
    """Return which octet of a constant is the first that is not as declared."""
    constant = constant_of(place.field)
    if isinstance(constant, int) and not place.whole:
        return 0  # it shares its octets with others
    wanted = Frame([place.field]).pack(constant)
    return next(
        (at for at, pair in enumerate(zip(octets, wanted, strict=True)) if len({*pair}) > 1), 0
    )


def _meaning(
    codec: Codec, place: Place, raw: Raw, operation: Raw | None, payload: bytes
) -> tuple[str, str]:
    """Return what a raw number means, and what is wrong with it."""
    field, node = place.field, codec.node
    match field.carries:
        case Carries.SIGNAL:
            reading = codec.readings_at(place, field.name)[raw]
            return _said(reading, codec.signal_named(field.name)), ""
        case Carries.VALUE:
            driven = {number: name for name, number in node.operations.items()}
            name = driven.get(operation) if isinstance(operation, int) else None
            if name is None:
                return _plain(place, raw), ""
            return _said(codec.readings_at(place, name)[raw], codec.signal_named(name)), ""
        case Carries.CONSTANT:
            return _constant(place, raw)
        case Carries.CRC:
            return _crc(place, raw, payload, codec.size)
        case Carries.NODE:
            right = raw == node.number
            return (node.name, "") if right else (f"{raw!r}", f"{node.name} is {node.number}")
        case Carries.LENGTH:
            fits = belongs(place, raw, payload, codec.size)
            return f"{raw!r} octets", "" if fits else f"the datagram has {len(payload)} octets"
        case Carries.UPTIME if isinstance(raw, int):
            return show_duration(Duration(raw * field.tick)), ""
        case Carries.OPERATION if isinstance(raw, int):
            return _operation(node, raw), ""
        case Carries.STATUS if isinstance(raw, int):
            word = field.labels.get(raw, "done" if raw == 0 else "refused")
            return f"{raw}: {word}", ""
    return _plain(place, raw), ""


def _said(reading: Reading, signal: Signal | None) -> str:
    if reading.validity is not Validity.VALID:
        return f"no measurement: {reading.note}"
    shown = show_value(reading.value, signal)
    return f"{shown} ({reading.note})" if reading.note else shown


def _plain(place: Place, raw: Raw) -> str:
    reading = Readings("", None, Encoding(labels=place.field.labels), place.form)[raw]
    if reading.value is None:
        return str(raw) if isinstance(raw, int) else reading.note
    return show_value(reading.value)


def _constant(place: Place, raw: Raw) -> tuple[str, str]:
    constant = constant_of(place.field)
    if raw == constant:
        return "as declared", ""
    if isinstance(constant, bytes):
        return "", f"declared {constant.hex()}"
    return "", f"declared {constant:0{(place.form.bits + 3) // 4}x}"


def _crc(place: Place, raw: Raw, payload: bytes, size: int) -> tuple[str, str]:
    crc = place.field.crc
    if crc is None or not isinstance(raw, int):
        return "", ""
    covered, got = payload[: place.offset], raw & (1 << place.form.bits) - 1
    if got == calculator(crc)(covered):
        return f"fits {_covered(place.offset)}", ""
    if belongs(place, raw, payload, size):
        return f"the last octets fit {_covered(len(payload) - place.size)}", ""
    wanted = f"{calculator(crc)(covered):0{2 * place.size}x}"
    why = explain_mismatch(crc, covered, got)
    text = f"CRC over {_covered(place.offset)} is {wanted}, got {got:0{2 * place.size}x}"
    return "", f"{text}; it {why}" if why else text


def _covered(size: int) -> str:
    return "octet 0" if size == 1 else f"octets 0 to {size - 1}"


def _operation(node: Node, operation: int) -> str:
    for name, number in node.operations.items():
        if number == operation:
            return f"{operation}: drive {name}"
    for word, own in (("read", node.read), ("listen", node.listen)):
        if own == operation:
            return f"{operation}: {word}"
    return f"{operation}: unknown"
