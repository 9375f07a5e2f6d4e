"""SenML packs, resolved: the published examples of RFC 8428, and what no pack may be."""

import json
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hil.wire.coap.cbor import load_cbor
from hil.wire.coap.description import Format, Part
from hil.wire.coap.number import Unreadable, of_float
from hil.wire.coap.payload import Missing, open_payload
from hil.wire.coap.senml import Record, resolve


def records(text):
    return resolve(json.loads(text, parse_float=Decimal, parse_int=Decimal), cbor=False)


# RFC 8428 §5.1.1, as in the working group's ex1.json.
def test_the_published_single_reading():
    (record,) = records('[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]')

    assert record == Record(
        name="urn:dev:ow:10e2073a01080063",
        local="urn:dev:ow:10e2073a01080063",
        unit="Cel",
        time=Decimal(0),
        value=Decimal("23.1"),
    )


# RFC 8428 §6 shows this pack in CBOR, §5.1.3 in JSON; octets as in ex3.gen.cbor.hex, the resolved
# records as in ex3.gen.resolved.json of the working group.
CBOR_PACK = bytes.fromhex(
    "87a721781b75726e3a6465763a6f773a3130653230373361303130383030363a22fb41d303a15b001062236141"
    "20050067766f6c7461676501615602fb405e066666666666a3006763757272656e74062402fb3ff33333333333"
    "33a3006763757272656e74062302fb3ff4cccccccccccda3006763757272656e74062202fb3ff6666666666666"
    "a3006763757272656e74062102f93e00a3006763757272656e74062002fb3ff999999999999aa3006763757272"
    "656e74060002fb3ffb333333333333"
)
JSON_PACK = """[
  {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
   "n":"voltage","u":"V","v":120.1},
  {"n":"current","t":-5,"v":1.2},
  {"n":"current","t":-4,"v":1.3},
  {"n":"current","t":-3,"v":1.4},
  {"n":"current","t":-2,"v":1.5},
  {"n":"current","t":-1,"v":1.6},
  {"n":"current","v":1.7}
]"""
RESOLVED = [
    ("urn:dev:ow:10e2073a0108006:voltage", "V", "1276020076.001", "120.1"),
    ("urn:dev:ow:10e2073a0108006:current", "A", "1276020071.001", "1.2"),
    ("urn:dev:ow:10e2073a0108006:current", "A", "1276020072.001", "1.3"),
    ("urn:dev:ow:10e2073a0108006:current", "A", "1276020073.001", "1.4"),
    ("urn:dev:ow:10e2073a0108006:current", "A", "1276020074.001", "1.5"),
    ("urn:dev:ow:10e2073a0108006:current", "A", "1276020075.001", "1.6"),
    ("urn:dev:ow:10e2073a0108006:current", "A", "1276020076.001", "1.7"),
]


def shown(pack):
    numbers = [of_float(r.value) if isinstance(r.value, float) else r.value for r in pack]
    return [
        (r.name, r.unit, str(r.time), str(number)) for r, number in zip(pack, numbers, strict=True)
    ]


def test_the_published_pack_resolves_from_json_and_from_cbor():
    assert len(CBOR_PACK) == 195
    assert shown(resolve(load_cbor(CBOR_PACK), cbor=True)) == RESOLVED
    assert shown(records(JSON_PACK)) == RESOLVED


def test_of_several_records_of_one_name_the_latest_counts():
    content = open_payload(CBOR_PACK, Format.SENML_CBOR)

    assert content.find(Part(record="current")) == 1.7
    assert content.find(Part(record="urn:dev:ow:10e2073a0108006:voltage")) == 120.1


def test_a_pack_out_of_order_still_gives_the_latest():
    content = open_payload(b'[{"n":"t","t":-1,"v":3},{"n":"t","t":-9,"v":2}]', Format.SENML_JSON)

    assert content.find(Part(record="t")) == 3


# RFC 8428 §4.1: base value and base sum are added, base unit stands where none does.
def test_base_fields_hold_to_the_end_of_the_pack():
    pack = records(
        '[{"bn":"a:","bu":"Cel","bv":20,"bs":5,"n":"x","v":1.5},'
        '{"n":"y","v":-1,"s":2},{"bn":"b:","bv":0,"n":"x","u":"K","v":3}]'
    )

    assert [(r.name, r.unit, r.value, r.sum) for r in pack] == [
        ("a:x", "Cel", Decimal("21.5"), None),
        ("a:y", "Cel", Decimal(19), Decimal(7)),
        ("b:x", "K", Decimal(3), None),
    ]


def test_values_of_every_kind():
    pack = records(
        '[{"n":"a","vs":"on"},{"n":"b","vb":true},{"n":"c","vd":"AQID_w"},{"n":"d","s":4}]'
    )

    assert [r.value for r in pack] == ["on", True, b"\x01\x02\x03\xff", None]


REFUSED = [
    ("{}", "is no SenML pack: it is no list of records"),
    ("[3]", "is no SenML: record 1 is no map"),
    ('[{"n":"a","v":1},{"v":1}]', "is no SenML: record 2 has no name"),
    ('[{"n":"_a","v":1}]', "is no SenML: record 1 has the name '_a'"),
    ('[{"n":"a b","v":1}]', "is no SenML: record 1 has the name 'a b'"),
    ('[{"n":"a","v":1,"vs":"x"}]', "is no SenML: record 1 has v and vs, but can have one value"),
    ('[{"n":"a","v":"1"}]', "is no SenML: record 1 has a v that is no number"),
    ('[{"n":"a","v":true}]', "is no SenML: record 1 has a v that is no number"),
    ('[{"n":"a","vb":1}]', "is no SenML: record 1 has a vb that is neither true nor false"),
    ('[{"n":"a","vd":"+/="}]', "is no SenML: record 1 has a vd that is no base64url"),
    ('[{"n":7,"v":1}]', "is no SenML: record 1 has a n that is no text"),
    ('[{"bver":11,"n":"a","v":1}]', "is no SenML: record 1 is of SenML version 11, known is 10"),
    ('[{"bver":0,"n":"a","v":1}]', "is no SenML: record 1 is of SenML version 0, known is 10"),
    ('[{"n":"a","v":1,"new_":1}]', "is no SenML: record 1 must be understood by its label 'new_'"),
]


@pytest.mark.parametrize(("text", "why"), REFUSED)
def test_what_is_no_pack_is_refused_with_the_record(text, why):
    with pytest.raises(Unreadable) as refusal:
        open_payload(text.encode(), Format.SENML_JSON)

    assert str(refusal.value) == why


def test_a_record_of_base_fields_alone_is_for_the_others():
    pack = records('[{"bn":"a:"},{"n":"x","v":1}]')

    assert [r.name for r in pack] == ["a:x"]


def test_unknown_labels_are_passed_over():
    (record,) = records('[{"n":"a","v":1,"colour":"red"}]')  # RFC 8428 §4.4

    assert record.value == 1


def test_a_record_in_another_unit_is_no_value():
    content = open_payload(b'[{"n":"t","u":"K","v":295}]', Format.SENML_JSON)

    with pytest.raises(Missing, match="has its record 't' in 'K', declared is Cel"):
        content.find(Part(record="t", units=("Cel",)))
    assert content.find(Part(record="t", units=("K",))) == 295


_KEYS = st.one_of(
    st.sampled_from(["bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s"]),
    st.integers(-7, 9),
)
anything = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=4)),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(_KEYS, inner, max_size=5)),
    max_leaves=12,
)


@given(anything, st.booleans())
def test_any_tree_is_either_a_pack_or_refused_in_words(tree, cbor):
    try:
        names = [record.name for record in resolve(tree, cbor=cbor)]
    except Unreadable as refusal:
        names = [str(refusal)]

    assert all(names)
