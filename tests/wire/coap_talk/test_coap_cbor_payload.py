"""CBOR payloads: the published vectors, and everything that could cost memory or mean mischief."""

import math
from decimal import Decimal

import cbor2
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from hil.wire.coap.cbor import DEPTH_LIMIT, check, load_cbor
from hil.wire.coap.number import Unreadable

# RFC 8949 appendix A, table 6, as published in the test vectors beside it (appendix_a.json).
VECTORS = [
    ("00", 0),
    ("17", 23),
    ("1818", 24),
    ("1864", 100),
    ("1903e8", 1000),
    ("1a000f4240", 1000000),
    ("1b000000e8d4a51000", 1000000000000),
    ("1bffffffffffffffff", 18446744073709551615),
    ("20", -1),
    ("3863", -100),
    ("3903e7", -1000),
    ("f90000", 0.0),
    ("f93c00", 1.0),
    ("fb3ff199999999999a", 1.1),
    ("f93e00", 1.5),
    ("f97bff", 65504.0),
    ("fa47c35000", 100000.0),
    ("fa7f7fffff", 3.4028234663852886e38),
    ("fb7e37e43c8800759c", 1.0e300),
    ("f90400", 6.103515625e-05),
    ("f9c400", -4.0),
    ("fbc010666666666666", -4.1),
    ("f4", False),
    ("f5", True),
    ("f6", None),
    ("60", ""),
    ("6161", "a"),
    ("6449455446", "IETF"),
    ("62c3bc", "ü"),
    ("80", []),
    ("83010203", [1, 2, 3]),
    ("8301820203820405", [1, [2, 3], [4, 5]]),
    ("a201020304", {1: 2, 3: 4}),
    ("a26161016162820203", {"a": 1, "b": [2, 3]}),
    ("826161a161626163", ["a", {"b": "c"}]),
    ("9f018202039f0405ffff", [1, [2, 3], [4, 5]]),
    ("bf6346756ef563416d7421ff", {"Fun": True, "Amt": -2}),
    ("4401020304", b"\x01\x02\x03\x04"),
    ("f97c00", math.inf),
    ("f9fc00", -math.inf),
]


@pytest.mark.parametrize(("octets", "value"), VECTORS)
def test_a_published_vector_means_its_value(octets, value):
    loaded = load_cbor(bytes.fromhex(octets))

    assert loaded == value
    assert type(loaded) is type(value)


def test_the_published_nan_is_one():
    assert math.isnan(load_cbor(bytes.fromhex("f97e00")))  # RFC 8949 appendix A


# RFC 8949 §3.4.4: 273.15 is tag 4, exponent -2, mantissa 27315; §3.4.6: tag 55799 is CBOR itself.
def test_a_decimal_fraction_is_exact_and_cbor_may_say_that_it_is_cbor():
    assert load_cbor(bytes.fromhex("c48221196ab3")) == Decimal("273.15")
    assert load_cbor(bytes.fromhex("d9d9f71864")) == 100


REFUSED = [
    ("", "is cut short: the item at octet 1 does not end"),
    ("18", "is cut short: the item at octet 1 does not end"),
    ("6261", "is cut short: the item at octet 1 does not end"),
    ("83 01 02", "is cut short: the item at octet 1 does not end"),
    ("9f 01", "is cut short: the item at octet 3 does not end"),
    ("9b 7fffffffffffffff 00", "is cut short: the item at octet 1 does not end"),
    ("5b 7fffffffffffffff 00", "is cut short: the item at octet 1 does not end"),
    ("ff", "is no CBOR: an odd simple value at octet 1"),
    ("f8 10", "is no CBOR: an odd simple value at octet 1"),
    ("1c", "is no CBOR: octet 1 is 0x1c"),
    ("1f", "is no CBOR: octet 1 is 0x1f"),
    ("5f 6161 ff", "is no CBOR: another kind inside a string, octet 2"),
    ("00 00", "has 1 octets behind its CBOR, from octet 2"),
    ("c1 1a514b67b0", "has the tag 1 at octet 1, which is not understood"),  # an epoch time
    ("d8 1c 81 d8 1d 00", "has the tag 28 at octet 1, which is not understood"),  # a cycle
    ("c5 82 1a7fffffff 03", "has the tag 5 at octet 1, which is not understood"),  # 3 · 2^(2^31)
    ("c2 5841" + 65 * "ff", "has a number of 67 octets, at octet 1"),
]


@pytest.mark.parametrize(("octets", "why"), REFUSED)
def test_what_cannot_be_used_is_refused_with_its_place(octets, why):
    with pytest.raises(Unreadable) as refusal:
        load_cbor(bytes.fromhex(octets))

    assert str(refusal.value) == why


def test_a_map_with_one_key_twice_is_refused():
    with pytest.raises(Unreadable, match="can be used"):
        load_cbor(bytes.fromhex("a2 01 02 01 03"))
    with pytest.raises(Unreadable, match="can be used"):
        load_cbor(bytes.fromhex("a2 01 02 1801 03"))  # the same number, written in another way


def test_nesting_is_bounded():
    deepest = b"\x81" * DEPTH_LIMIT + b"\x00"

    assert load_cbor(deepest)
    with pytest.raises(Unreadable, match="nested more than 32 deep, at octet 34"):
        load_cbor(b"\x81" + deepest)
    with pytest.raises(Unreadable, match="nested"):
        load_cbor(b"\xd9\xd9\xf7" * 5_000 + b"\x00")


def test_a_decimal_fraction_without_reason_is_refused():
    with pytest.raises(Unreadable, match="can be used"):
        load_cbor(bytes.fromhex("c4 82 1b7fffffffffffffff 01"))


plain = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(-(2**64), 2**64 - 1),
        st.floats(allow_nan=False),
        st.text(max_size=8),
        st.binary(max_size=8),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4), st.dictionaries(st.text(max_size=4), inner, max_size=4)
    ),
    max_leaves=12,
)


@given(plain)
def test_whatever_the_library_writes_is_well_formed_and_comes_back(value):
    octets = cbor2.dumps(value)

    check(octets)
    assert load_cbor(octets) == value


@settings(max_examples=300)
@given(st.binary(max_size=60))
@example(bytes.fromhex("bf61610161610200ff"))
@example(b"\xa1" * 40)
def test_any_octets_are_either_read_or_refused_in_words(octets):
    why = "read"
    try:
        load_cbor(octets)
    except Unreadable as refusal:
        why = str(refusal)
    assert why
    assert "\n" not in why
