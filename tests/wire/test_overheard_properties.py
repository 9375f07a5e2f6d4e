"""Whatever is said, who listens hears the values that the links hear."""

from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st
from wire.coap_talk.coap_racks import (
    BED_AT,
    BOOTS,
    LAMP_TEXT,
    SERIAL,
    SOIL_TEXT,
    command,
    ms,
    node,
    rack,
)
from wire.coap_talk.test_coap_links_properties import answered
from wire.console.consoles import BOOT, IDENTIFY, MS, Talk, pump
from wire.console.test_console_properties import WORDS

from hil.core.instant import MILLISECOND, SECOND, Duration, Instant
from hil.core.observation import NodeNote, NodeTrouble, Samples
from hil.wire.coap.code import Code
from hil.wire.coap.message import Type, decode
from hil.wire.console.description import Question
from hil.wire.link import Links, Packet
from hil.wire.overheard import Overheard

racks = st.sampled_from(
    [
        rack(node(SOIL_TEXT)),
        rack(node(SOIL_TEXT, LAMP_TEXT, BOOTS)),
        rack(node(SOIL_TEXT, SERIAL, serial="3")),
    ]
)
answers = st.tuples(
    st.integers(0, 2),
    st.sampled_from([Type.ACKNOWLEDGEMENT, Type.CONFIRMABLE, Type.NON_CONFIRMABLE]),
    st.sampled_from([Code.CONTENT] * 9 + [Code.NOT_FOUND, Code.EMPTY]),
    st.sampled_from([b"21.5", b"3", b"4", b"on"]),
    st.sampled_from([None, 1, 2, 3]),
    st.sampled_from([0, 0, 0, 50]),
    st.booleans(),
)
waits = st.sampled_from([1, 5, 90, 700, 1100])
steps = st.lists(st.tuples(waits, answers | st.just("command")), min_size=5, max_size=30)
pumps = st.sampled_from(
    [
        pump(boot=BOOT, read=Question(send="s", every=Duration(20 * MS))),
        pump(boot=BOOT, boot_within=Duration(40 * MS), opening_resets=True),
        pump(serial="X-1", identify=IDENTIFY, boot=BOOT),
    ]
)
chunks = st.lists(
    st.sampled_from([*WORDS, b"rate=1 valve=open\n", b"rate=2 valve=closed\n", b"a" * 600]),
    max_size=15,
)


def values(seen):
    """Return all that a case is judged by: the values, and the reboots."""
    reboots = [
        (one.node, one.at, one.since, one.text)
        for one in seen
        if isinstance(one, NodeNote) and one.trouble is NodeTrouble.REBOOT
    ]
    return reboots, [
        (s.signal, s.value, s.validity, s.since, s.at, s.note, s.raw)
        for one in seen
        if isinstance(one, Samples)
        for s in one.samples
    ]


@settings(deadline=None, max_examples=150)
@given(racks, steps)
def test_of_a_coap_node_it_hears_the_values_that_the_links_hear(small, script):
    machine, third, now = Links(small, Instant(0)), Overheard(small), ms(0)
    own, heard, asked = [], [], []

    def collect(at):
        own.extend(machine.take_observations())
        for packet in machine.take_sends():
            message = decode(packet.payload)
            asked.extend([message] if message.token else [])
            machine.sent(packet, at)
            third.sent("bed", packet.payload, at)
        own.extend(machine.take_observations())
        heard.extend(third.take_observations())

    def reach(at):
        while (due := machine.next_wakeup()) is not None and due < at:
            machine.tick(due)
            collect(due)
        third.tick(Instant(at - 1))
        collect(at)

    machine.tick(now)
    collect(now)
    for token, (wait, thing) in enumerate(script, 1):
        now = Instant(now + wait * MILLISECOND + 1)
        reach(now)
        if thing == "command":
            machine.execute(command(token, value=Decimal(token)), now)
        elif asked:
            octets = answered(asked, *thing)
            machine.receive(Packet("bed", BED_AT, octets), now)
            third.came("bed", None, octets, now)
        collect(now)
    reach(Instant(now + 4 * SECOND))

    assert values(own) == values(heard)


@settings(deadline=None, max_examples=150)
@given(of=pumps, chunks=chunks, gaps=st.lists(st.integers(1, 90), min_size=15, max_size=15))
def test_of_a_console_it_hears_the_values_that_the_links_hear(of, chunks, gaps):
    talk, at = Talk(of), 0
    for chunk, gap in zip(chunks, gaps, strict=False):
        at += gap
        talk.hear(at, chunk)
    talk.at(at + 2_000)
    third = Overheard(talk.rack)
    for line in sorted(talk.written, key=lambda line: line.at):
        third.stood(line, bytes.fromhex(line.hex))
    third.tick(Instant((at + 2_000) * MS))

    assert values(talk.seen) == values(third.take_observations())
