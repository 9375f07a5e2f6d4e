"""Captures: pcapng written and read, IP and UDP headers, and a run's datagrams in them."""

import contextlib
import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hil.core.event import (
    BenchFile,
    CaseEnded,
    CaseStarted,
    CommandLogged,
    Datagram,
    ForeignDatagram,
    RunStarted,
    StepStarted,
)
from hil.core.instant import Instant
from hil.report.capture.capture import capture, departures, in_blocks
from hil.report.capture.headers import unwrap, wrap
from hil.report.capture.pcapng import Captured, LinkType, NoCapture, Way, begin, packet, read
from hil.wire.rack import Address

FIRST, SECOND = Address("127.0.0.1", 49152), Address("127.0.0.1", 47801)
BENCH = "fixtures/glasshouse.yaml"


# --- headers -----------------------------------------------------------------------------------


def test_the_checksum_of_an_ip_header_is_that_of_the_published_example():
    # RFC 1071 § 3: the octets 00 01 f2 03 f4 f5 f6 f7 add up to ddf2, the checksum is its complement
    from hil.report.capture.headers import _sum

    assert _sum(bytes.fromhex("0001f203f4f5f6f7")) == 0xFFFF - 0xDDF2


@pytest.mark.parametrize("host", ["127.0.0.1", "::1", "fe80::1%eth1"])
@given(payload=st.binary(max_size=60), ports=st.tuples(*[st.integers(1, 65_535)] * 2))
@settings(max_examples=40)
def test_what_is_wrapped_comes_out_again(host, payload, ports):
    source, destination = (Address(host, port) for port in ports)
    found = unwrap(wrap(source, destination, payload, 7), LinkType.RAW)

    assert found is not None
    assert (found.payload, found.source.port, found.destination.port) == (payload, *ports)
    assert found.source.host == host.partition("%")[0]


@pytest.mark.parametrize(
    ("link", "before"),
    [
        (LinkType.ETHERNET, bytes(12) + b"\x08\x00"),
        (LinkType.ETHERNET, bytes(12) + b"\x81\x00\x00\x05\x08\x00"),  # a tag of IEEE 802.1Q
        (LinkType.LOOP, b"\x02\x00\x00\x00"),
        (LinkType.LINUX_COOKED, bytes(14) + b"\x08\x00"),
        (LinkType.LINUX_COOKED_2, b"\x08\x00" + bytes(18)),
    ],
)
def test_every_kind_of_link_is_taken_off(link, before):
    found = unwrap(before + wrap(FIRST, SECOND, b"payload", 1), link)

    assert found is not None and (found.source, found.destination) == (FIRST, SECOND)


def test_what_is_no_whole_datagram_is_passed_over():
    whole = wrap(FIRST, SECOND, b"payload", 1)
    fragment = whole[:6] + b"\x20\x00" + whole[8:]  # more fragments, RFC 791 § 3.1
    stream = whole[:9] + b"\x06" + whole[10:]  # TCP

    for octets in (fragment, stream, whole[:30], whole[:3], b"", b"\x00" * 40):
        assert unwrap(octets, LinkType.RAW) is None


def test_two_families_cannot_be_the_ends_of_one_datagram():
    with pytest.raises(ValueError, match="are not of one family"):
        wrap(FIRST, Address("::1", 5), b"", 1)


# --- the file ----------------------------------------------------------------------------------

packets = st.builds(
    Captured,
    at=st.integers(0, 1 << 62),
    octets=st.binary(max_size=40),
    way=st.sampled_from(Way),
    comment=st.text(st.characters(codec="utf-8"), max_size=20),
    interface=st.just("eth1"),
)


@given(st.lists(packets, max_size=8))
@settings(max_examples=60)
def test_what_is_written_is_read_again(captured):
    octets = begin("eth1", "a comment", "a tool") + b"".join(packet(one) for one in captured)

    assert list(read(octets)) == captured


@given(st.lists(packets, max_size=4), st.data())
@settings(max_examples=60)
def test_a_file_that_was_cut_short_gives_what_is_whole(captured, data):
    octets = begin("eth1", "", "") + b"".join(packet(one) for one in captured)
    cut = data.draw(st.integers(len(begin("eth1", "", "")), len(octets)))
    found = list(read(octets[:cut]))

    assert found == captured[: len(found)]


@given(st.binary(max_size=200))
@settings(max_examples=100)
def test_any_octets_are_read_or_refused(octets):
    for head in (b"", begin("x", "", ""), begin("x", "", "")[:28]):
        with contextlib.suppress(NoCapture):
            list(read(head + octets))


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize(("magic", "unit"), [(0xA1B2C3D4, 1_000), (0xA1B23C4D, 1)])
def test_the_older_format_is_read_in_both_octet_orders(order, magic, unit):
    # draft-ietf-opsawg-pcap § 4 (the header), § 5 (a record)
    head = struct.pack(f"{order}IHHIIII", magic, 2, 4, 0, 0, 65_535, LinkType.RAW)
    record = struct.pack(f"{order}IIII", 12, 345, 3, 3) + b"abc"

    (one,) = read(head + record + record[:-1])
    assert (one.at, one.octets, one.link) == (12_000_000_000 + 345 * unit, b"abc", LinkType.RAW)


def test_an_interface_in_microseconds_and_blocks_of_other_kinds():
    # draft-ietf-opsawg-pcapng § 4.2: without if_tsresol a count is a microsecond; § 3.1: unknown
    # blocks are passed over.  Written here in big-endian order.
    def block(kind, body):
        size = 12 + len(body)
        return struct.pack(">II", kind, size) + body + struct.pack(">I", size)

    section = block(0x0A0D0D0A, struct.pack(">IHHq", 0x1A2B3C4D, 1, 0, -1))
    interface = block(1, struct.pack(">HHI", 1, 0, 0))
    other = block(0x0BAD, b"1234")
    data = block(6, struct.pack(">IIIII", 0, 0, 5, 2, 2) + b"ab\0\0")

    (one,) = read(section + interface + other + data)
    assert (one.at, one.octets, one.link) == (5_000, b"ab", LinkType.ETHERNET)


@pytest.mark.parametrize(
    ("options", "at"),
    [
        # § 4.2: if_tsresol 0x0a (code 9) of 2^-10 s, most significant bit set
        (struct.pack(">HHB3x", 9, 1, 0x8A), 2048 * 1_000_000_000 // 1024),
        (struct.pack(">HHB3x", 9, 1, 3), 2_048_000_000),  # 10^-3 s
        (struct.pack(">HHq", 14, 8, 7), 7_000_000_000 + 2_048_000),  # if_tsoffset, in seconds
    ],
)
def test_the_time_of_an_interface_is_as_it_says(options, at):
    def block(kind, body):
        size = 12 + len(body)
        return struct.pack(">II", kind, size) + body + struct.pack(">I", size)

    section = block(0x0A0D0D0A, struct.pack(">IHHq", 0x1A2B3C4D, 1, 0, -1))
    interface = block(1, struct.pack(">HHI", 1, 0, 0) + options)
    data = block(6, struct.pack(">IIIII", 0, 0, 2048, 2, 2) + b"ab\0\0")

    (one,) = read(section + interface + data)
    assert one.at == at


def test_what_stands_behind_the_ip_packet_is_no_payload():
    # Ethernet pads short frames to 60 octets (IEEE 802.3, 3.2.8)
    frame = bytes(12) + b"\x08\x00" + wrap(FIRST, SECOND, b"ab", 1)
    found = unwrap(frame + bytes(60 - len(frame)), LinkType.ETHERNET)

    assert found is not None and found.payload == b"ab"


def test_a_checksum_of_zero_is_sent_as_all_ones():
    # RFC 768: zero means that there is none
    for number in range(70_000):
        octets = wrap(FIRST, SECOND, struct.pack(">I", number), 1)
        assert octets[26:28] != b"\0\0"
        if octets[26:28] == b"\xff\xff":
            return
    raise AssertionError("no payload with that checksum was tried")


# --- a run -------------------------------------------------------------------------------------


def at(ms):
    return Instant(ms * 1_000_000)


@pytest.fixture
def journal(request):
    text = (request.config.rootpath / BENCH).read_text("utf-8")
    command = {"token": 1, "signal": "feedline.pressure", "value": "4.80 bar"}
    case = {"index": 0, "plan": "P", "case": "c"}
    return [
        RunStarted(
            at=at(0),
            tool="rackproof 0",
            bench="glasshouse",
            bench_file=BENCH,
            bench_digest="",
            virtual=True,
            stamps="virtual",
            plans=(),
            cases=(),
        ),
        BenchFile(at=at(0), file=BENCH, digest="", text=text),
        Datagram(at=at(1), way="out", node="feedline", hex="2101"),
        CaseStarted(at=at(2), **case, attempt=2, place="", requirements=(), tags=()),
        StepStarted(at=at(2), index=0, step=1, place=""),
        Datagram(at=at(3), way="out", node="feedline", hex="2102"),
        CommandLogged(at=at(3), **command, purpose="stimulus", state="sent"),
        Datagram(at=at(4), way="in", node="feedline", hex="3101"),
        ForeignDatagram(at=at(5), node="feedline", peer="127.0.0.9:5", hex="ff"),
        CaseEnded(at=at(6), **case, outcome="pass", attempt=2, took=4, reasons=()),
        Datagram(at=at(7), way="in", node="no-such-node", hex="00"),
        Datagram(at=at(8), way="in", node="feedline", hex="3102"),
    ]


def captured(journal, began=0):
    octets = b"".join(capture(journal, departures(journal), began, "a run"))
    return [(one, unwrap(one.octets, one.link)) for one in read(octets)]


def test_every_datagram_has_its_way_its_ends_and_its_place_in_the_run(journal):
    place = "P: c, attempt 2, step 1"
    told = [(one.at // 1_000_000, one.way, one.comment) for one, _ in captured(journal)]

    assert told == [
        (1, Way.OUT, ""),
        (3, Way.OUT, f"{place}; stimulus: feedline.pressure = 4.80 bar"),
        (4, Way.IN, place),
        (5, Way.IN, f"{place}; not from feedline, to whom the tool spoke here"),
        (8, Way.IN, ""),
    ]
    ends = [(each.source, each.destination) for _, each in captured(journal)]
    tool, node = Address("127.0.0.1", 49_152), Address("127.0.0.1", 47_801)
    assert ends == [
        (tool, node),
        (tool, node),
        (node, tool),
        (Address("127.0.0.9", 5), tool),
        (node, tool),
    ]
    assert [each.payload.hex() for _, each in captured(journal)] == [
        "2101", "2102", "3101", "ff", "3102",
    ]  # fmt: skip


def test_instants_are_those_of_the_journal_on_the_day_of_the_run(journal):
    began = 1_764_000_000_000_000_000

    assert captured(journal, began)[0][0].at == began + 1_000_000


@pytest.mark.parametrize(("began", "wild"), [(0, -1), ((1 << 63) + 1, (1 << 63) - 1)])
def test_a_datagram_at_an_instant_that_no_capture_has_is_left_out(journal, began, wild):
    told = len(captured(journal))
    odd = Datagram(at=Instant(wild), way="in", node="feedline", hex="3103")

    assert len(captured([*journal, odd], began)) == told


@pytest.mark.parametrize("lack", [RunStarted, BenchFile, Datagram])
def test_without_its_beginning_or_a_bench_file_there_is_nothing(journal, lack):
    left = [one for one in journal if not isinstance(one, lack)]
    found = b"".join(capture(left, {}, 0, ""))

    assert (found == b"") is (lack is not Datagram)


@given(st.lists(st.binary(max_size=30)), st.integers(1, 50))
def test_blocks_hold_the_same_octets_and_each_but_the_last_its_size(pieces, size):
    blocks = list(in_blocks(pieces, size))

    assert b"".join(blocks) == b"".join(pieces)
    assert all(len(block) >= size for block in blocks[:-1])
