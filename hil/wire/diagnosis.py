"""What is wrong with a datagram that fits no layout, in one plain sentence.

A garbled datagram is an observation.  The length is judged first, because nothing behind a wrong
length means anything: a datagram that is too long is never `CRC wrong`.
"""

from collections.abc import Iterator, Sequence

from hil.wire.appended import constant_of
from hil.wire.crc import calculator, explain_mismatch
from hil.wire.frame import Frame, Place
from hil.wire.layout import Codec
from hil.wire.rack import Carries, Field

_ETHERNET_ROOM = 18
"""UDP octets in the shortest Ethernet frame: 46 of payload (IEEE 802.3 §3.2.8) less 20 less 8."""


def diagnose(codecs: Sequence[Codec], payload: bytes) -> str:
    """Say what is wrong with octets that none of these layouts decodes."""
    if not payload:
        return "empty datagram"
    if not codecs:
        return f"length {len(payload)}, and no layout to read it by"
    codec = min(codecs, key=lambda candidate: _distance(candidate, payload))
    name = f" ({codec.layout.name})" if len(codecs) > 1 else ""
    return _explain(codec, payload) + name


def _distance(codec: Codec, payload: bytes) -> tuple[int, int]:
    """Return how far a datagram is from a layout: wrong constants, then octets too many or few."""
    wrong = sum(1 for _ in _wrong_constants(codec, payload))
    return wrong, abs(len(payload) - codec.size)


def _explain(codec: Codec, payload: bytes) -> str:
    if len(payload) != codec.size:
        problem = ""
        if codec.layout.append_allowed and len(payload) > codec.size:
            problem = _explain_fields(codec, payload[: codec.size])
        return problem or _explain_length(codec, payload)
    return _explain_fields(codec, payload) or "fits the layout"


def _explain_fields(codec: Codec, payload: bytes) -> str:
    """Say what is wrong with a datagram of the right length."""
    for place, found in _wrong_constants(codec, payload):
        declared = _sent(place, constant_of(place.field)).hex()
        return f"{_title(codec, place.field)} holds {found.hex() or 'nothing'}, declared {declared}"
    for place, raw in zip(codec.places, codec.frame.raws(payload), strict=True):
        problem = ""
        match place.field.carries:
            case Carries.CONSTANT if raw != constant_of(place.field):
                wanted = constant_of(place.field)
                problem = f"{place.field.name} holds {raw!r}, declared {wanted!r}"
            case Carries.LENGTH if raw != codec.size:
                problem = f"length field says {raw!r}, the datagram has {len(payload)} octets"
            case Carries.CRC if isinstance(raw, int):
                problem = _explain_crc(place, raw, payload)
        if problem:
            return problem
    return ""


def _explain_crc(place: Place, raw: int, payload: bytes) -> str:
    crc = place.field.crc
    if crc is None:
        return ""
    covered = payload[: place.offset]
    got = raw & (1 << place.form.bits) - 1
    wanted = calculator(crc)(covered)
    if got == wanted:
        return ""
    why = explain_mismatch(crc, covered, got)
    if why:
        return f"CRC wrong; {why}"
    shown = (_sent(place, number).hex(" ").upper() for number in (got, wanted))
    return "CRC wrong: holds {}, should be {}".format(*shown)


def _explain_length(codec: Codec, payload: bytes) -> str:
    text = f"length {len(payload)}, declared {codec.size}"
    where = _padding(codec, payload)
    if where:
        return f"{text}; {where}"
    extra = len(payload) - codec.size
    if extra < 0:
        return text
    plural = "s" if extra > 1 else ""
    if any(payload[codec.size :]):
        return f"{text}; {extra} extra octet{plural}"
    zeros = f"{text}; {extra} extra octet{plural}, all zero"
    return f"{zeros}: padding?" if len(payload) <= _ETHERNET_ROOM or extra < 8 else zeros


def _padding(codec: Codec, payload: bytes) -> str:
    """Say where padding, as compilers put it, would explain the length; empty where nowhere."""
    fields = codec.layout.fields
    for widest in (8, 4, 2):
        gaps = _compiler_gaps(fields, widest)
        inside = sum(gaps[:-1])
        for total, counted in ((inside, gaps[:-1]), (inside + gaps[-1], gaps)):
            if (
                total
                and codec.size + total == len(payload)
                and _tail_is_zero(fields, counted, payload)
            ):
                return f"{_show_gaps(counted, len(fields))} would explain it"
    declared = sum(field.size for field in fields if field.form == "pad")
    if declared and codec.size - declared == len(payload):
        return "without the declared padding it would fit"
    return ""


def _compiler_gaps(fields: Sequence[Field], widest: int) -> list[int]:
    """Return the octets of padding before each field, and at the end, as a C compiler puts them."""
    offset, largest, gaps = 0, 1, []
    for field in fields:
        step = 1 if field.form in ("text", "bytes", "pad") else min(field.size, widest)
        if step & step - 1:
            step = 1  # 3, 5, 6 and 7 octets are arrays of octets in C
        largest = max(largest, step)
        gaps.append(-offset % step)
        offset += gaps[-1] + field.size
    return [*gaps, -offset % largest]


def _tail_is_zero(fields: Sequence[Field], gaps: Sequence[int], payload: bytes) -> bool:
    """Say whether padding at the end, if any, is zero; between fields compilers leave anything."""
    return len(gaps) <= len(fields) or not any(payload[len(payload) - gaps[-1] :])


def _show_gaps(gaps: Sequence[int], count: int) -> str:
    parts = [
        f"{gap} octet{'s' * (gap > 1)} of padding {'at the end' if at == count else f'after field {at}'}"
        for at, gap in enumerate(gaps)
        if gap
    ]
    return " and ".join(parts)


def _wrong_constants(codec: Codec, payload: bytes) -> Iterator[tuple[Place, bytes]]:
    """Yield every constant that a datagram (perhaps too short) does not hold, and what it holds."""
    for place in codec.places:
        if place.field.carries is not Carries.CONSTANT or place.field not in codec.layout.fields:
            continue
        found = payload[place.offset : place.offset + place.size]
        if found != _sent(place, constant_of(place.field)):
            yield place, found


def _sent(place: Place, constant: int | bytes) -> bytes:
    """Return the octets of a constant as they are sent."""
    return Frame([place.field]).pack(_word(place, constant))


def _word(place: Place, constant: int | bytes) -> int | bytes:
    if isinstance(constant, bytes) or place.whole:
        return constant
    return (constant & (1 << place.form.bits) - 1) << place.shift


def _title(codec: Codec, field: Field) -> str:
    return f"field {codec.layout.fields.index(field) + 1}" + (
        f" ({field.name})" if field.name else ""
    )
