"""Worked examples of a layout: these octets carry these values, in both directions.

A layout without an example that is checked has its byte order, its scale and its CRC from hope.
Values stand by the names of the layout's fields: signals in their unit or as a label, header
fields (node, request, uptime, …) and the value of a request as the number on the wire.
"""

from collections.abc import Mapping
from decimal import Decimal

from hil.core.instant import ZERO
from hil.core.plan import Limits
from hil.core.signal import Value, show_number
from hil.wire.diagnosis import diagnose
from hil.wire.encoding import Raw, Readings, WireError
from hil.wire.frame import Place
from hil.wire.hint import explain_value
from hil.wire.layout import Codec
from hil.wire.rack import Address, Carries, Encoding, Example, Identity, Layout, Node
from hil.wire.source import HEADER

_HIDDEN = (Carries.CONSTANT, Carries.CRC, Carries.LENGTH, Carries.PADDING)


def check_examples(layout: Layout, encodings: Mapping[str, Encoding]) -> list[str]:
    """Check every example of a layout, octets to values and back; return what is wrong.

    `encodings` are those of a node that uses the layout, by signal; one that is missing counts
    the raw number as the value.  Each problem begins with the number of its example.
    """
    node = Node(
        name="",
        number=0,
        address=Address("", 0),
        identity=Identity(),
        signals=(),
        encodings=encodings,
        layouts=(layout,),
        operations={},
        answer_within=ZERO,
    )
    try:
        codec = Codec(layout, node)
    except WireError as error:
        return [str(error)]
    return [
        f"example {count}: {problem}"
        for count, example in enumerate(layout.examples, start=1)
        for problem in _check(codec, example)
    ]


def named_values(codec: Codec, payload: bytes) -> dict[str, Value | None]:
    """Return all that a datagram of the right size carries, by field name.

    Signals in their unit, None where they are invalid; everything else as the number on the
    wire, a label or a text.
    """
    values: dict[str, Value | None] = {}
    for place, raw in zip(codec.places, codec.frame.raws(payload), strict=True):
        if place.field.name:
            values[place.field.name] = _value(codec, place, raw)
    return values


def _value(codec: Codec, place: Place, raw: Raw) -> Value | None:
    field = place.field
    if field.carries is Carries.SIGNAL:
        return codec.readings_at(place, field.name)[raw].value
    if isinstance(raw, int) and field.carries is not Carries.PLAIN:
        return Decimal(raw)
    return Readings("", None, Encoding(labels=field.labels), place.form)[raw].value


def _check(codec: Codec, example: Example) -> list[str]:
    payload = example.raw
    if codec.decode(payload) is None:
        return [diagnose([codec], payload)]
    head = payload[: codec.size]
    got = named_values(codec, head)
    raws = dict(
        zip((place.field.name for place in codec.places), codec.frame.raws(head), strict=True)
    )
    problems = []
    for name, wanted in example.values.items():
        if name not in got:
            problems.append(f"there is no field {name}")
        elif wanted != got[name] and not (wanted == raws[name] and got[name] is None):
            problems.append(_unlike(codec, head, name, got[name], wanted))
    if problems or None in got.values():
        return problems  # what is no measurement can be written in several ways
    return _check_back(codec, head, got)


def _unlike(codec: Codec, head: bytes, name: str, got: Value | None, wanted: Value) -> str:
    """Say what octets carry instead of what is declared, and what may lie behind it."""
    text, hints = f"{name} is {_show(got)} in these octets", ""
    for place, raw in zip(codec.places, codec.frame.raws(head), strict=True):
        if place.field.name != name or place.field.carries is not Carries.SIGNAL:
            continue
        if got is None:
            text += f" ({codec.readings_at(place, name)[raw].note})"
        if isinstance(wanted, Decimal):
            _, _, hints = explain_value(
                codec.node, head, name, Limits(low=wanted, high=wanted)
            ).partition("; ")
    return f"{text}, declared {_show(wanted)}" + (f"; {hints}" if hints else "")


def _check_back(codec: Codec, head: bytes, got: Mapping[str, Value | None]) -> list[str]:
    """Encode the values again: the same raw numbers must come out."""
    header = {
        place.field.carries.value: _number(got.get(place.field.name))
        for place in codec.places
        if place.field.carries in HEADER
    }
    uptime, value = codec.place(Carries.UPTIME), codec.place(Carries.VALUE)
    if uptime is not None:
        header["uptime"] *= uptime.field.tick
    try:
        octets = codec.encode(got, **header, value=0 if value is None else got[value.field.name])
    except WireError as error:
        return [str(error)]
    return [
        f"{place.field.name} is sent as {again!r}, these octets hold {wanted!r}"
        for place, again, wanted in zip(
            codec.places, codec.frame.raws(octets), codec.frame.raws(head), strict=True
        )
        if place.field.carries not in _HIDDEN and again != wanted
    ]


def _number(value: Value | None) -> int:
    return int(value) if isinstance(value, Decimal) else 0


def _show(value: Value | None) -> str:
    if value is None:
        return "no measurement"
    return show_number(value) if isinstance(value, Decimal) else repr(value)
