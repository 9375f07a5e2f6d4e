"""Laws of the codec, against `struct` as an independent peer and over random layouts."""

import struct
from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st
from wire.racks import CRC_A, FEEDLINE, LOUVRES, crc, number, sensor, signal_field

from hil.core.signal import EXACT, Validity
from hil.wire.crc import calculator
from hil.wire.diagnosis import diagnose
from hil.wire.encoding import WireError
from hil.wire.layout import Codec
from hil.wire.rack import Carries, Encoding, Field, Layout, Role
from hil.wire.source import STAMPS

CODES = {"u8": "B", "i8": "b", "u16": "H", "i16": "h", "u32": "I", "i32": "i", "u64": "Q"}
CODES |= {"i64": "q", "f32": "f", "f64": "d"}
ODD = ("u24", "i24", "u48", "i48")


@settings(deadline=None)
@given(st.lists(st.sampled_from(sorted(CODES)), min_size=1, max_size=8), st.data())
def test_plain_numbers_agree_with_struct(forms, data):
    little = data.draw(st.booleans())
    order = "little" if little else None
    fields = tuple(number(f"f{at}", form, order=order) for at, form in enumerate(forms))
    layout = Layout(name="r", role=Role.READING, fields=fields)
    peer = struct.Struct(("<" if little else ">") + "".join(CODES[form] for form in forms))
    octets = data.draw(st.binary(min_size=peer.size, max_size=peer.size))

    codec = Codec(layout, sensor(layout))

    assert peer.size == codec.size
    assert [repr(x) for x in peer.unpack(octets)] == [repr(x) for x in codec.frame.raws(octets)]


@settings(deadline=None)
@given(st.sampled_from(ODD), st.booleans(), st.data())
def test_odd_sizes_agree_with_int_from_bytes(form, little, data):
    size = int(form[1:]) // 8
    field = number("t", form, Carries.SIGNAL, order="little" if little else None)
    layout = Layout(name="r", role=Role.READING, fields=(field, number("tail", "u8")))
    codec = Codec(layout, sensor(layout, Encoding()))
    octets = data.draw(st.binary(min_size=size, max_size=size))

    got = codec.decode(octets + b"\x7f")

    wanted = int.from_bytes(octets, "little" if little else "big", signed=form[0] == "i")
    assert Decimal(wanted) == got.readings[0].value
    assert octets + b"\x7f" == codec.encode({"t": Decimal(wanted), "tail": Decimal(0x7F)})


@st.composite
def number_field(draw, at):
    form = draw(st.sampled_from((*sorted(CODES), *ODD)))
    size = int(form[1:]) // 8
    order = draw(st.permutations(range(size)))
    carries = draw(st.sampled_from((Carries.PLAIN, Carries.SIGNAL)))
    return number(f"f{at}", form, carries, order=tuple(order))


@st.composite
def other_field(draw, at):
    size = draw(st.integers(1, 8))
    match draw(st.sampled_from(("text", "bytes", "pad", "bits", "constant"))):
        case "pad":
            return Field(name="", form="pad", size=size, carries=Carries.PADDING)
        case "bits":
            width = draw(st.integers(1, 8 * size))
            shift = draw(st.integers(0, 8 * size - width))
            part = number(f"f{at}", draw(st.sampled_from(("u8", "i8"))))
            order = tuple(draw(st.permutations(range(size))))
            return Field(
                name="w", form="bits", size=size, order=order, parts=((part, shift, width),)
            )
        case "constant":
            octet = draw(st.integers(0, 255))
            return number("", "u8", Carries.CONSTANT, constant=octet)
        case form:
            return Field(name=f"f{at}", form=form, size=size)


@st.composite
def layouts(draw):
    count = draw(st.integers(1, 8))
    fields = [draw(st.one_of(number_field(at), other_field(at))) for at in range(count)]
    if draw(st.booleans()):
        order = tuple(draw(st.permutations((0, 1))))
        fields.append(crc(CRC_A, order=order))
    return Layout(
        name="any", role=Role.READING, fields=tuple(fields), append_allowed=draw(st.booleans())
    )


@st.composite
def header_field(draw, carries):
    """Draw one header field: a number of any size and octet order, or a part of a word."""
    form = draw(st.sampled_from(("u8", "u16", "u24", "u32", "u48", "i16", "i32")))
    size = int(form[1:]) // 8
    order = tuple(draw(st.permutations(range(size))))
    if draw(st.integers(0, 4)):
        return number(carries.value, form, carries, order=order)
    part = number(carries.value, "u8", carries)
    return Field(name="w", form="bits", size=size, order=order, parts=((part, 1, 6),))


@st.composite
def readings(draw):
    """Draw a reading with some of the header fields among its values, and mostly with a CRC."""
    header = draw(st.sets(st.sampled_from((Carries.NODE, *STAMPS, Carries.BOOTS))))
    fields = [draw(header_field(carries)) for carries in sorted(header, key=list(Carries).index)]
    count = draw(st.integers(0, 4))
    fields += [draw(st.one_of(number_field(at), other_field(at))) for at in range(count)]
    fields = list(draw(st.permutations(fields))) or [number("f0", "u8", Carries.SIGNAL)]
    if draw(st.integers(0, 3)):
        fields.append(crc(CRC_A, order=tuple(draw(st.permutations((0, 1))))))
    append = draw(st.booleans())
    return Layout(name="any", role=Role.READING, fields=tuple(fields), append_allowed=append)


@settings(deadline=None)
@given(readings(), st.binary(max_size=3), st.data())
def test_head_readings_and_plain_fields_are_those_of_decode(layout, appended, data):
    codec = Codec(layout, sensor(layout, Encoding(sentinels=((1, 4),), low=-5, high=100)))
    octets = data.draw(st.binary(min_size=codec.size, max_size=codec.size))
    for place in codec.places:
        if place.field.carries is Carries.CRC and data.draw(st.booleans()):
            count = calculator(CRC_A)(octets[: place.offset])
            big = count.to_bytes(2, "big")
            octets = octets[: place.offset] + bytes(big[rank] for rank in place.field.order)
    octets += appended

    whole, head = codec.decode(octets), codec.head(octets)

    assert (whole is None) == (head is None)
    if whole is not None:
        assert whole.head(whole.sequence) == head
        assert repr(whole.readings) == repr(codec.readings(octets))
        assert repr(whole.plain) == repr(codec.plain(octets))


@settings(deadline=None)
@given(readings(), st.data())
def test_octets_with_another_stamp_are_those_encoded_anew(layout, data):
    codec = Codec(layout, sensor(layout, Encoding()))
    values = {}
    for place in codec.places:
        if place.field.carries in (Carries.PLAIN, Carries.SIGNAL):
            values[place.field.name] = "" if place.form.kind in ("text", "bytes") else Decimal(0)
    counts = st.integers(0, 2**70)
    first, second = ((data.draw(counts), data.draw(counts)) for _ in range(2))
    apart = all(
        place.field in layout.fields for place in codec.places if place.field.carries in STAMPS
    )
    octets = codec.encode(values, node=2, boots=3, sequence=first[0], uptime=first[1])

    assert apart == (codec.restamp is not None)
    if codec.restamp is not None:
        anew = codec.encode(values, node=2, boots=3, sequence=second[0], uptime=second[1])
        assert anew == codec.restamp(octets, *second)


def _exact(value):
    """Take a binary fraction to the 50 digits that values have."""
    return EXACT.plus(value) if isinstance(value, Decimal) else value


@settings(deadline=None)
@given(layouts(), st.data())
def test_what_was_encoded_is_decoded_again(layout, data):
    codec = Codec(layout, sensor(layout, Encoding()))
    values = {}
    for place in codec.places:
        kind, name = place.form.kind, place.field.name
        if place.field.carries not in (Carries.PLAIN, Carries.SIGNAL):
            continue
        if kind == "text":
            values[name] = data.draw(st.text("abc -°", max_size=place.size // 2))
        elif kind == "bytes":
            values[name] = data.draw(st.binary(min_size=place.size, max_size=place.size)).hex()
        elif kind == "f":
            number = data.draw(
                st.floats(width=place.form.bits, allow_nan=False, min_value=0.5, max_value=2.0**40)
            )
            values[name] = _exact(Decimal(number))
        else:
            values[name] = Decimal(data.draw(st.integers(place.form.low, place.form.high)))

    octets = codec.encode(values)
    got = codec.decode(octets)

    assert layout.size == len(octets)
    assert got is not None
    decoded = {reading.signal.removeprefix("node."): reading.value for reading in got.readings}
    assert values == {name: _exact(value) for name, value in (decoded | got.plain).items()}


@settings(deadline=None)
@given(layouts(), st.binary(max_size=80))
def test_any_octets_never_raise(layout, octets):
    codec = Codec(layout, sensor(layout, Encoding(sentinels=((1, 4),), low=-5, high=100)))

    got = codec.decode(octets)

    if got is None:
        text = diagnose([codec], octets)
        assert text
        assert "\n" not in text


REAL = [Codec(layout, node) for node in (FEEDLINE, LOUVRES) for layout in node.layouts]


@settings(deadline=None)
@given(st.sampled_from(REAL), st.data())
def test_a_changed_octet_is_always_noticed(codec, data):
    values = dict.fromkeys(("pressure", "temperature"))
    values |= {"pump": "on", "angle": Decimal(1)}
    octets = bytearray(codec.encode(values))
    at = data.draw(st.integers(0, len(octets) - 1))
    octets[at] ^= data.draw(st.integers(1, 255))

    assert codec.decode(bytes(octets)) is None
    assert diagnose([codec], bytes(octets)) not in ("", "fits the layout")


@settings(deadline=None)
@given(
    raw=st.integers(-(2**31), 2**31 - 1),
    scale=st.decimals("0.001", "1000", places=3),
    offset=st.decimals("-1000", "1000", places=2),
)
def test_scaling_is_exact_both_ways(raw, scale, offset):
    layout = Layout(name="r", role=Role.READING, fields=(signal_field("t", "i32"),))
    codec = Codec(layout, sensor(layout, Encoding(scale=scale, offset=offset)))

    got = codec.decode(struct.pack(">i", raw)).readings[0]

    assert got.validity is Validity.VALID
    assert raw * scale + offset == got.value
    assert struct.pack(">i", raw) == codec.encode({"t": got.value})


@settings(deadline=None)
@given(st.decimals(allow_nan=True, allow_infinity=True) | st.text(max_size=4) | st.none())
def test_encoding_any_value_gives_octets_or_a_wire_error(value):
    codec = REAL[2]

    try:
        octets = codec.encode({"pressure": value, "temperature": None, "pump": "on"})
    except WireError:
        return

    assert codec.decode(octets).readings[0].value in (value, None)
