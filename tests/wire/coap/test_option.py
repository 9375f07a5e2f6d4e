"""Options: numbers, lengths, and which of a message are understood."""

import pytest

from hil.wire.coap.option import (
    DEFINITIONS,
    Format,
    Option,
    from_uint,
    is_critical,
    render_option,
    sift,
    uint,
)


# RFC 7252 §3.2: no octets for 0, as few as it takes, leading zeros may be read.
@pytest.mark.parametrize(
    ("number", "value"), [(0, ""), (1, "01"), (255, "ff"), (256, "0100"), (0xFFFFFFFF, "ffffffff")]
)
def test_unsigned_numbers_take_as_few_octets_as_they_need(number, value):
    assert bytes.fromhex(value) == from_uint(number)
    assert number == uint(b"\x00" + bytes.fromhex(value))


# RFC 7252 table 4, columns No., C, R, Format, Length; RFC 7641 table 1; RFC 7959 tables 1 and 4.
TABLE = """
1 x x opaque 0 8
3 x - string 1 255
4 - x opaque 1 8
5 x - empty 0 0
6 - - uint 0 3
7 x - uint 0 2
8 - x string 0 255
11 x x string 0 255
12 - - uint 0 2
14 - - uint 0 4
15 x x string 0 255
17 x - uint 0 2
20 - x string 0 255
23 x - uint 0 3
27 x - uint 0 3
28 - - uint 0 4
35 x - string 1 1034
39 x - string 1 255
60 - - uint 0 4
"""


def test_the_table_of_the_rfc():
    rows = [line.split() for line in TABLE.split("\n") if line]

    assert rows == [
        [
            str(int(number)),
            "x" if is_critical(number) else "-",
            "x" if definition.repeatable else "-",
            definition.format.value,
            str(definition.shortest),
            str(definition.longest),
        ]
        for number, definition in sorted(DEFINITIONS.items())
    ]
    assert {form.value for form in Format} == {row[3] for row in rows}


@pytest.mark.parametrize(
    ("options", "asked", "known", "refused"),
    [
        ([(11, b"a"), (11, b"b")], True, {11: [b"a", b"b"]}, ()),
        ([(9, b"")], True, {}, (9,)),  # critical and unknown
        ([(65000, b"")], True, {}, ()),  # elective and unknown: passed over
        ([(17, b"\x01\x02\x03")], True, {}, (17,)),  # too long: like an unknown one, §5.4.3
        ([(12, b"\x01\x02\x03")], True, {}, ()),
        ([(7, b"\x01"), (7, b"\x02")], True, {7: [b"\x01"]}, (7,)),  # too often, §5.4.5
        ([(14, b"\x01"), (14, b"\x02")], False, {14: [b"\x01"]}, ()),
        ([(4, b"a"), (4, b"b")], False, {4: [b"a"]}, ()),  # one entity-tag in a response
        ([(4, b"a"), (4, b"b")], True, {4: [b"a", b"b"]}, ()),
        ([(11, b"a")], False, {}, (11,)),  # no business in a response
        ([(11, b"\xff")], True, {}, (11,)),  # no UTF-8
    ],
)
def test_what_is_understood_and_what_is_not(options, asked, known, refused):
    sifted = sift(options, asked)

    assert (known, refused) == (sifted.known, sifted.refused)


def test_values_come_out_by_their_kind():
    sifted = sift([(4, b"tag"), (11, b"a"), (11, b"\xc3\xbc"), (17, b"\x3c")], request=True)

    assert (sifted.number(Option.ACCEPT), sifted.number(Option.OBSERVE)) == (60, None)
    assert (sifted.first(Option.ETAG), sifted.first(Option.BLOCK1)) == (b"tag", None)
    assert sifted.texts(Option.URI_PATH) == ("a", "ü")


def test_an_option_reads_well():
    assert render_option(14, b"\x3c") == "Max-Age: 60"
    assert render_option(11, b"\xff") == "Uri-Path: 0xff"
    assert render_option(4, b"\x01\x02") == "ETag: 0x0102"
    assert render_option(6, b"\0\0\0\1") == "Observe: 0x00000001"
