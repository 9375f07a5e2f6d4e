"""Messages and their octets: the RFC's own, every malformed case, and a second codec."""

import aiocoap
import pytest
from aiocoap.error import UnparsableMessage
from hypothesis import example, given, settings
from hypothesis import strategies as st

from hil.wire.coap.code import Code, code_name, dotted
from hil.wire.coap.message import Head, Malformed, Message, Type, decode, empty, encode
from hil.wire.coap.option import Option

CON, NON, ACK, RST = Type

TEMPERATURE = ((Option.URI_PATH, b"temperature"),)

# RFC 7252 appendix A, figures 16 to 23, with headers and tokens as printed there; the octets of
# figures 16 and 17 follow from the diagrams beside them.
FIGURES = [
    ("40017d34bb74656d7065726174757265", Message(CON, Code.GET, 0x7D34, b"", TEMPERATURE)),
    ("60457d34ff32322e332043", Message(ACK, Code.CONTENT, 0x7D34, b"", (), b"22.3 C")),
    ("41017d3520bb74656d7065726174757265", Message(CON, Code.GET, 0x7D35, b"\x20", TEMPERATURE)),
    ("61457d3520ff32322e332043", Message(ACK, Code.CONTENT, 0x7D35, b"\x20", (), b"22.3 C")),
    ("60007d38", Message(ACK, Code.EMPTY, 0x7D38)),
    ("4145ad7b53ff32322e332043", Message(CON, Code.CONTENT, 0xAD7B, b"\x53", (), b"22.3 C")),
    ("6000ad7b", Message(ACK, Code.EMPTY, 0xAD7B)),
    ("7000ad7c", Message(RST, Code.EMPTY, 0xAD7C)),
    ("51017d4075bb74656d7065726174757265", Message(NON, Code.GET, 0x7D40, b"\x75", TEMPERATURE)),
    ("5145ad7d75ff32322e332043", Message(NON, Code.CONTENT, 0xAD7D, b"\x75", (), b"22.3 C")),
    ("5184952a86", Message(NON, Code.NOT_FOUND, 0x952A, b"\x86")),
    # RFC 8824's example of an uncompressed CoAP request.
    ("4101000182bb74656d7065726174757265", Message(CON, Code.GET, 0x0001, b"\x82", TEMPERATURE)),
]


@pytest.mark.parametrize(("octets", "message"), FIGURES, ids=[row[0][:8] for row in FIGURES])
def test_the_figures_of_the_rfc_byte_for_byte(octets, message):
    assert bytes.fromhex(octets) == encode(message)
    assert message == decode(bytes.fromhex(octets))


def test_the_figures_have_the_lengths_the_rfc_tells():
    assert [len(octets) // 2 for octets, _ in FIGURES[:4]] == [16, 11, 17, 12]


# RFC 7252 §3.1: 0 to 12 in the nibble, 13 to 268 in one octet more, 269 and up in two.
@pytest.mark.parametrize(
    ("number", "length", "head"),
    [
        (12, 12, "cc"),
        (13, 13, "dd0000"),
        (268, 268, "ddffff"),
        (269, 269, "ee00000000"),
        (65535, 0, "e0fef2"),
        (1, 1034, "1e02fd"),
    ],
)
def test_deltas_and_lengths_are_extended(number, length, head):
    message = Message(CON, Code.GET, 1, b"", ((number, bytes(length)),))
    octets = encode(message)

    assert bytes.fromhex(head) == octets[4 : 4 + len(head) // 2]
    assert message == decode(octets)


MALFORMED = [
    ("", "0 octets, a CoAP message has at least 4"),
    ("400112", "3 octets, a CoAP message has at least 4"),
    ("00011234", "version 0, CoAP's is 1"),
    ("80011234", "version 2, CoAP's is 1"),
    ("c0011234", "version 3, CoAP's is 1"),
    ("49011234", "token length 9, at most 8 is allowed"),
    ("4f011234" + "00" * 20, "token length 15, at most 8 is allowed"),
    ("4401123401", "a token of 4 octets is promised, 1 are left"),
    ("4100123401", "an empty message (0.00) has 4 octets, this one 5"),
    ("40001234ff00", "an empty message (0.00) has 4 octets, this one 6"),
    ("50001234", "an empty message is never non-confirmable"),
    ("70451234", "a Reset is empty, this one has code 2.05"),
    ("60011234", "an acknowledgement carries the request 0.01 GET"),
    ("40201234", "code 1.00 is of class 1, which is reserved"),
    ("40c01234", "code 6.00 is of class 6, which is reserved"),
    ("40e11234", "code 7.01 is of class 7, which is reserved"),
    ("40011234ff", "a payload marker at octet 4, and no payload behind it"),
    ("40011234b161ff", "a payload marker at octet 6, and no payload behind it"),
    ("40011234f0", "the option at octet 4 has delta 15, which is reserved"),
    ("400112340f", "the option at octet 4 has length 15, which is reserved"),
    ("40011234d0", "the option at octet 4 ends within its delta"),
    ("40011234e000", "the option at octet 4 ends within its delta"),
    ("400112340d", "the option at octet 4 ends within its length"),
    ("400112340e00", "the option at octet 4 ends within its length"),
    ("40011234b3616c", "the option at octet 4 promises 3 octets, 2 are left"),
    ("40011234e0fef3", "the option at octet 4 has number 65536, above 65535"),
]


@pytest.mark.parametrize(("octets", "reason"), MALFORMED, ids=[row[1] for row in MALFORMED])
def test_what_the_rfc_forbids_is_refused_with_the_reason(octets, reason):
    with pytest.raises(Malformed) as refusal:
        decode(bytes.fromhex(octets))

    assert reason == str(refusal.value)


def test_a_refusal_tells_what_a_reset_needs_where_the_version_is_right():
    with pytest.raises(Malformed) as refusal:
        decode(bytes.fromhex("40011234ff"))
    assert Head(CON, 0x1234) == refusal.value.head

    with pytest.raises(Malformed) as refusal:
        decode(bytes.fromhex("80011234ff"))
    assert refusal.value.head is None


@pytest.mark.parametrize(
    "message",
    [
        Message(CON, Code.GET, 1, bytes(9)),
        Message(CON, Code.GET, 0x10000),
        Message(CON, 256, 1),
        Message(CON, Code.GET, 1, b"", ((65536, b""),)),
        Message(CON, Code.GET, 1, b"", ((-1, b""),)),
        Message(CON, Code.GET, 1, b"", ((1, bytes(65805)),)),
    ],
)
def test_what_has_no_octets_is_not_encoded(message):
    with pytest.raises(ValueError):
        encode(message)


def test_options_are_put_in_order_and_those_of_one_number_keep_theirs():
    options = ((15, b"q"), (11, b"b"), (11, b"a"))

    assert decode(encode(Message(CON, Code.GET, 1, b"", options))).options == (
        (11, b"b"),
        (11, b"a"),
        (15, b"q"),
    )


def test_a_message_reads_well():
    message = Message(
        NON, Code.CONTENT, 0x7B50, b"\x4a", ((6, b"\x10"), (11, b"t"), (65000, b"\1")), b"x"
    )

    assert (
        str(message)
        == "NON 2.05 Content id 0x7b50, token 4a, Observe: 16, Uri-Path: t, option 65000: 0x01, 1 octets"
    )
    assert code_name(0x8F) == "4.15 Unsupported Content-Format"
    assert (code_name(0), code_name(95), code_name(159)) == ("0.00 Empty", "2.31 Continue", "4.31")
    assert dotted(0xBF) == "5.31"
    assert bytes.fromhex("40000001") == empty(CON, 1)


options = st.lists(st.tuples(st.integers(0, 65535), st.binary(max_size=300)), max_size=6).map(
    lambda made: tuple(sorted(made, key=lambda option: option[0]))
)
messages = st.builds(
    Message,
    st.sampled_from([CON, NON]),
    st.integers(0, 255).filter(lambda code: code and code >> 5 not in (1, 6, 7)),
    st.integers(0, 0xFFFF),
    st.binary(max_size=8),
    options,
    st.binary(max_size=64),
)


@given(messages)
@settings(max_examples=100)
def test_any_message_comes_back_as_it_was(message):
    assert message == decode(encode(message))


@given(st.binary(max_size=40))
@settings(max_examples=200)
@example(b"\x40\x01\x12\x34\xe0\xff\xff")
def test_any_octets_are_read_or_refused_and_what_is_read_encodes_to_a_message_that_reads_the_same(
    octets,
):
    try:
        message = decode(octets)
    except Malformed:
        return

    assert message == decode(encode(message))


# Octets that begin like CoAP, so that more of them get past the header.
likely = st.tuples(
    st.sampled_from([0x40, 0x41, 0x44, 0x48, 0x50, 0x52, 0x60, 0x61]),
    st.sampled_from([1, 2, 3, 0x45, 0x84, 0xA0]),
    st.binary(min_size=2, max_size=30),
).map(lambda parts: bytes(parts[:2]) + parts[2])


@given(likely | messages.map(encode))
@settings(max_examples=200)
def test_a_second_codec_reads_the_same(octets):
    try:
        ours = decode(octets)
        theirs = aiocoap.Message.decode(octets)
    except (Malformed, UnicodeDecodeError):
        return  # aiocoap 0.4 raises the latter for text that is none

    assert (ours.type, ours.code, ours.message_id) == (theirs.mtype, theirs.code, theirs.mid)
    assert (ours.token, ours.payload) == (theirs.token, theirs.payload)
    assert [number for number, _ in ours.options] == [
        option.number for option in theirs.opt.option_list()
    ]


@given(likely)
@settings(max_examples=100)
def test_what_a_second_codec_cannot_read_is_refused_here_too(octets):
    try:
        aiocoap.Message.decode(octets)
    except UnicodeDecodeError:
        return
    except UnparsableMessage:
        with pytest.raises(Malformed):
            decode(octets)


@given(messages)
@settings(max_examples=100)
def test_a_second_codec_makes_the_same_octets_of_opaque_options(message):
    theirs = aiocoap.Message(
        _mtype=int(message.type),
        _mid=message.message_id,
        code=message.code,
        _token=message.token,
        payload=message.payload,
    )
    for number, value in message.options:
        theirs.opt.add_option(aiocoap.optiontypes.OpaqueOption(number, value))

    assert theirs.encode() == encode(message)
