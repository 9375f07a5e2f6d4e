"""Datagrams with something appended: is the known part of a longer one of this layout?"""

from hil.wire.crc import calculator
from hil.wire.encoding import Raw, WireError
from hil.wire.frame import Place, big_order
from hil.wire.rack import Carries, Field


def belongs(place: Place, raw: Raw, payload: bytes, size: int) -> bool:
    """Say whether a raw number does not speak against a layout of `size` octets."""
    field = place.field
    match field.carries:
        case Carries.CONSTANT:
            return raw == constant_of(field)
        case Carries.LENGTH:
            return raw in (size, len(payload))
        case Carries.CRC if field.crc is not None:
            return raw == calculator(field.crc)(payload[: place.offset]) or (
                place.offset + place.size == size and _crc_at_end(payload, place)
            )
    return True


def _crc_at_end(payload: bytes, place: Place) -> bool:
    """Say whether the last octets are the CRC over all others: a field was put in before it."""
    if place.field.crc is None:
        return False
    covered, sent = payload[: -place.size], payload[-place.size :]
    order = big_order(place.field)
    big = bytes(sent[order.index(rank)] for rank in range(place.size))
    return calculator(place.field.crc)(covered) == int.from_bytes(big, "big")


def constant_of(field: Field) -> int | bytes:
    """Return what a constant field holds, octets filled up with zeros.  Raises WireError."""
    if field.constant is None:
        raise WireError(f"{field.name}: a constant field needs its constant")
    if isinstance(field.constant, bytes):
        return field.constant.ljust(field.size, b"\0")
    return field.constant
