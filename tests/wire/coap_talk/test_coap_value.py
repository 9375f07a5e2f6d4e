"""What a payload says about a signal, and that what is written is read back."""

from decimal import Decimal

import cbor2
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from hil.core.signal import Kind, Signal, Validity
from hil.wire.coap.description import Format, Part, Place, Target, Written
from hil.wire.coap.number import Unreadable
from hil.wire.coap.payload import SIZE_LIMIT, open_payload
from hil.wire.coap.value import read_fact, read_part
from hil.wire.coap.writing import write, write_value
from hil.wire.encoding import WireError
from hil.wire.rack import Encoding

SOIL = Signal(
    node="bed", name="soil", kind=Kind.NUMBER, unit="degC", low=Decimal(-20), high=Decimal(60)
)
LAMP = Signal(node="bed", name="lamp", kind=Kind.LABEL, labels=("off", "on"))
SIGN = Signal(node="bed", name="sign", kind=Kind.TEXT)
PLAIN, LABELS = Encoding(), Encoding(labels={0: "off", 1: "on"})
TENTHS = Encoding(scale=Decimal("0.1"), sentinels=((0x7FFF, 0x7FFF),))
JSON, CBOR, TEXT = Format.JSON, Format.CBOR, Format.TEXT


def say(payload, form=TEXT, signal=SOIL, encoding=PLAIN, **part):
    """Return the value, or in a list why there is none."""
    payload = payload if isinstance(payload, bytes) else payload.encode()
    reading = read_part(open_payload(payload, form), Part(**part), signal, encoding)
    assert (reading.validity is Validity.VALID) == (reading.value is not None)
    return reading.value if reading.value is not None else [reading.note]


NUMBERS = [
    (TEXT, "21.5", {}, Decimal("21.5")),
    (TEXT, " -0.50\r\n", {}, Decimal("-0.50")),
    (TEXT, "2.15e1", {}, Decimal("21.5")),
    # RFC 7252 appendix A, figure 16: a temperature with its unit behind it
    (TEXT, "22.3 C", {"suffix": "C"}, Decimal("22.3")),
    (TEXT, "22.3C", {"suffix": "C"}, Decimal("22.3")),
    (TEXT, "22.3 C", {}, ["is '22.3 C', no number"]),
    (TEXT, "22.3", {"suffix": "C"}, ["is '22.3', declared is a number and 'C'"]),
    (TEXT, "", {}, ["is '', no number"]),
    (TEXT, "1_0", {}, ["is '1_0', no number"]),
    (TEXT, "٢٢", {}, ["is '٢٢', no number"]),
    (TEXT, "21,5", {}, ["is '21,5', no number"]),
    (TEXT, "nan", {}, ["NaN"]),
    (TEXT, "-inf", {}, ["infinity"]),
    (TEXT, "1e999999999", {}, ["is '1e999999999', no number"]),
    (JSON, "20.3", {}, Decimal("20.3")),
    (JSON, '{"air": [{"t": 20.30}]}', {"pointer": ("air", "0", "t")}, Decimal("20.30")),
    (JSON, '{"a/b": {"": 3}}', {"pointer": ("a/b", "")}, Decimal(3)),
    (JSON, "NaN", {}, ["NaN"]),
    (JSON, "null", {}, ["is null"]),
    (JSON, "true", {}, ["is true, no number"]),
    (JSON, '"21.5"', {}, ["is '21.5', no number"]),
    (JSON, '{"t": 1}', {}, ["the whole is an object"]),
    (JSON, '{"t": 1}', {"pointer": ("u",)}, ["has no member '/u'"]),
    (JSON, "[1, 2]", {"pointer": ("2",)}, ["has no entry '/2', but 2 of them"]),
    (JSON, "[1, 2]", {"pointer": ("01",)}, ["has no entry '/01', but 2 of them"]),
    (JSON, "7", {"pointer": ("x",)}, ["has no member '/x'"]),
    (CBOR, cbor2.dumps({"t": 20.3}), {"pointer": ("t",)}, Decimal("20.3")),
    (CBOR, cbor2.dumps({3: 20}), {"pointer": ("3",)}, Decimal(20)),
    (CBOR, cbor2.dumps({-2: 20}), {"pointer": ("-2",)}, Decimal(20)),
    (CBOR, cbor2.dumps(Decimal("20.30")), {}, Decimal("20.30")),
    (CBOR, bytes.fromhex("f97e00"), {}, ["NaN"]),
    (CBOR, bytes.fromhex("f6"), {}, ["is null"]),
    (CBOR, bytes.fromhex("f7"), {}, ["the whole is neither a number nor a text"]),
    (CBOR, bytes.fromhex("41ff"), {}, ["is octets ff, no number"]),
    # IEEE 754: the binary32 nearest to 20.3 is 20.299999237060546875 exactly
    (CBOR, bytes.fromhex("fa41a26666"), {"binary32": True}, Decimal("20.299999237060546875")),
    (Format.SENML_JSON, '[{"n":"t","v":5}]', {"record": "t"}, Decimal(5)),
    (
        Format.SENML_JSON,
        '[{"n":"t","s":5}]',
        {"record": "t"},
        ["has no value in its record 't', only a sum"],
    ),
    (Format.SENML_JSON, '[{"n":"t","vs":"hot"}]', {"record": "t"}, ["is 'hot', no number"]),
    (Format.SENML_JSON, "[]", {"record": "t"}, ["has no record 't'"]),
]


@pytest.mark.parametrize(("form", "payload", "part", "value"), NUMBERS)
def test_a_number_is_exact_or_says_why_there_is_none(form, payload, part, value):
    assert say(payload, form, **part) == value


def test_scale_and_offset_apply_to_the_raw_number_and_sentinels_are_raw():
    kelvin = Encoding(offset=Decimal("-273.15"))

    assert say("203", encoding=TENTHS) == Decimal("20.3")
    assert say("295.65", encoding=kelvin) == Decimal("22.5")
    assert say("32767", encoding=TENTHS) == ["sentinel 32767"]


def test_a_value_outside_the_declared_range_is_no_reading():
    wanted = ["653.3 degC is outside the declared range -20 to 60 degC, raw 6533"]

    assert say("6533", encoding=TENTHS) == wanted
    assert say("60") == Decimal(60)
    assert say("60.001") == ["60.001 degC is outside the declared range -20 to 60 degC, raw 60.001"]
    assert "implausible" in say("1e30")[0]


def test_a_value_next_to_a_sentinel_says_so():
    wide = Signal(node="bed", name="soil", kind=Kind.NUMBER, unit="degC")
    content = open_payload(b"32766", TEXT)

    assert read_part(content, Part(), wide, TENTHS).note == "next to a sentinel"


LABELLED = [
    (TEXT, "on\n", Written.WORD, "on"),
    (TEXT, "On", Written.WORD, ["is 'On', none of off, on"]),
    (TEXT, "1", Written.WORD, ["is '1', none of off, on"]),
    (TEXT, "1", Written.NUMBER, "on"),
    (TEXT, "2", Written.NUMBER, ["no label for 2"]),
    (TEXT, "0.5", Written.NUMBER, ["no label for 0.5"]),
    (JSON, "1.0", Written.NUMBER, "on"),
    (JSON, "NaN", Written.NUMBER, ["no label for NaN"]),
    (JSON, "true", Written.BOOLEAN, "on"),
    (JSON, "1", Written.BOOLEAN, ["is 1, neither true nor false"]),
    (TEXT, "false", Written.BOOLEAN, "off"),
    (TEXT, "0", Written.BOOLEAN, ["is '0', neither true nor false"]),
    (JSON, '"true"', Written.BOOLEAN, ["is 'true', neither true nor false"]),
    (JSON, '"1"', Written.NUMBER, ["is '1', no number"]),
    (JSON, '" on"', Written.WORD, ["is ' on', none of off, on"]),
    (CBOR, b"\xf5", Written.BOOLEAN, "on"),
]


@pytest.mark.parametrize(("form", "payload", "written", "value"), LABELLED)
def test_a_label_is_written_in_the_declared_way_and_in_no_other(form, payload, written, value):
    assert say(payload, form, LAMP, LABELS, written=written) == value


def test_a_text_stays_as_it_is():
    assert say(" two\nlines ", signal=SIGN) == " two\nlines "
    assert say('"ü"', JSON, SIGN) == "ü"
    assert say(b"\x42\x00\xff", CBOR, SIGN) == "00ff"
    assert say("7", JSON, SIGN) == ["is 7, no text"]
    assert say('"\\ud800"', JSON, SIGN) == ["is a text with half a character in it"]


def test_a_fact_is_a_text_or_a_number():
    def fact(text):
        return read_fact(open_payload(text.encode(), JSON), Part())

    assert [fact('"PG-1\\n"'), fact("7"), fact("7.50")] == ["PG-1", "7", "7.50"]


UNREADABLE = [
    (TEXT, b"\xff", "is not UTF-8, at octet 1"),
    (
        JSON,
        b"{",
        "is no JSON: expecting property name enclosed in double quotes at line 1 column 2",
    ),
    (JSON, b'{"a": 1, "a": 2}', "has its member 'a' twice"),
    (JSON, b"1e999999999", "holds a number beyond 1e400"),
    (JSON, b"[" * 60_000, "is nested too deeply"),
    (JSON, b"", "is no JSON: expecting value at line 1 column 1"),
    (TEXT, b"0" * (SIZE_LIMIT + 1), "has 65537 octets, looked at are 65536"),
]


@pytest.mark.parametrize(("form", "payload", "why"), UNREADABLE)
def test_a_payload_that_is_not_of_its_format_is_refused(form, payload, why):
    with pytest.raises(Unreadable) as refusal:
        open_payload(payload, form)

    assert str(refusal.value) == why


# --- writing -------------------------------------------------------------------------------------


def put(value, form, signal=SOIL, encoding=PLAIN, **part):
    target = Target(place=Place(path=("x",)), format=form, part=Part(**part))
    return write_value(value, target, signal, encoding)


WRITTEN = [
    (Decimal("20.50"), TEXT, {}, b"20.5"),
    (Decimal("1E+2"), TEXT, {}, b"100"),
    (Decimal("20.5"), TEXT, {"suffix": "C"}, b"20.5 C"),
    (Decimal("20.3"), JSON, {"pointer": ("air", "t")}, b'{"air":{"t":20.3}}'),
    (Decimal("20.3"), CBOR, {}, bytes.fromhex("fb40344ccccccccccd")),
    (Decimal("20.3"), CBOR, {"binary32": True}, bytes.fromhex("fa41a26666")),
    (Decimal(20), CBOR, {}, bytes.fromhex("14")),
    (Decimal("20.3"), Format.SENML_JSON, {"record": "t"}, b'[{"n":"t","v":20.3}]'),
    # RFC 8428 §6: name is 0, unit 1, value 2
    (
        Decimal(5),
        Format.SENML_CBOR,
        {"record": "t", "units": ("Cel",)},
        bytes.fromhex("81a3006174016343656c0205"),
    ),
]


@pytest.mark.parametrize(("value", "form", "part", "payload"), WRITTEN)
def test_a_value_is_written_as_the_format_has_it(value, form, part, payload):
    assert put(value, form, **part) == payload


def test_a_label_is_put_as_it_is_written():
    def lamp(written, form):
        return put("on", form, LAMP, LABELS, written=written)

    assert lamp(Written.WORD, JSON) == b'"on"'
    assert lamp(Written.NUMBER, JSON) == b"1"
    assert lamp(Written.BOOLEAN, JSON) == b"true"
    assert lamp(Written.BOOLEAN, TEXT) == b"true"


def test_the_raw_number_is_put():
    assert put(Decimal("20.3"), TEXT, encoding=TENTHS) == b"203"


def test_what_cannot_be_put_is_said():
    with pytest.raises(WireError, match="soil: NaN is no number"):
        put(Decimal("NaN"), TEXT)
    with pytest.raises(WireError, match="no label is called 'dim'"):
        put("dim", TEXT, LAMP, LABELS)
    with pytest.raises(WireError, match="beyond binary32"):
        put(Decimal("1e39"), CBOR, binary32=True)


def test_a_pack_leaves_out_what_has_no_value():
    entries = [(Part(record="a"), None), (Part(record="b"), Decimal(1))]

    assert write(entries, Format.SENML_JSON, "x:") == b'[{"bn":"x:","n":"b","v":1}]'
    assert write([(Part(), None)], JSON) == b"null"
    assert write([(Part(), None)], TEXT) == b"NaN"


forms = st.sampled_from(list(Format))
decimals = st.decimals(-20, 60, places=2, allow_nan=False)


@given(decimals, forms, st.booleans())
def test_a_number_that_is_written_is_read_back(value, form, tenths):
    encoding = Encoding(scale=Decimal("0.01")) if tenths else PLAIN
    record = "t" if form.is_senml else ""
    payload = put(value, form, encoding=encoding, record=record)

    assert say(payload, form, encoding=encoding, record=record) == value


@given(st.text(st.characters(codec="utf-8"), max_size=12), forms)
def test_a_text_that_is_written_is_read_back(text, form):
    record = "t" if form.is_senml else ""
    payload = put(text, form, SIGN, record=record)

    assert say(payload, form, SIGN, record=record) == text


PARTS = [
    Part(),
    Part(pointer=("a",)),
    Part(pointer=("a", "0", "b")),
    Part(record="t", units=("Cel",)),
    Part(suffix="C", binary32=True),
    Part(written=Written.NUMBER),
    Part(written=Written.BOOLEAN),
]
SIGNALS = [(SOIL, PLAIN), (SOIL, TENTHS), (LAMP, LABELS), (SIGN, PLAIN)]


@settings(max_examples=400, deadline=None)
@given(
    st.one_of(
        st.binary(max_size=50),
        st.builds(
            lambda text: text.encode(), st.text('[]{}":,0123456789eE.+-nvbutrsfal\\', max_size=40)
        ),
        st.builds(
            cbor2.dumps,
            st.recursive(
                st.one_of(st.floats(), st.integers(), st.text(max_size=3), st.binary(max_size=3)),
                lambda inner: st.one_of(
                    st.lists(inner, max_size=3),
                    st.dictionaries(
                        st.one_of(st.text(max_size=2), st.integers(-6, 8)), inner, max_size=4
                    ),
                ),
                max_leaves=8,
            ),
        ),
    ),
    forms,
)
@example(b'[{"n":"t","t":NaN,"v":1},{"n":"t","v":2}]', Format.SENML_JSON)
@example(b'[{"n":"t","bv":Infinity,"v":-Infinity}]', Format.SENML_JSON)
@example(b'[{"n":"t","v":1e400}]', Format.SENML_JSON)
def test_no_payload_raises_anything_but_our_own_reason(payload, form):
    try:
        content = open_payload(payload, form)
    except Unreadable:
        return
    for part in PARTS:
        for signal, encoding in SIGNALS:
            reading = read_part(content, part, signal, encoding)
            assert (reading.value is None) == (reading.validity is Validity.INVALID)
            assert reading.value is not None or reading.note


def test_a_sentinel_among_the_numbers_of_labels_is_no_reading_and_says_so():
    labels = Encoding(labels={0: "off", 1: "on"}, sentinels=((250, 255),))

    assert say("255", signal=LAMP, encoding=labels, written=Written.NUMBER) == ["sentinel 255"]
    assert say("249", signal=LAMP, encoding=labels, written=Written.NUMBER) == ["no label for 249"]
