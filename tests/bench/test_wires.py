"""Serial lines in virtual time: as long under way as their characters take."""

from hypothesis import given, settings
from hypothesis import strategies as st
from laws import obey

from hil.bench.wires import PIECE, Wires
from hil.core.instant import Instant
from hil.wire.console.description import Line
from hil.wire.rack import Address, Envelope, far_end

END = Address("/dev/ttyS0", 0)
FAR = far_end(END)
CHARACTER = 86_806  # ns: 10 bits at 115,200 bit/s are 86.8055... µs


def wires(rate=115_200, frame="8N1"):
    return Wires({END: Line(rate=rate, frame=frame)})


def arrivals(machine, until=10**10):
    told = []
    while (wakeup := machine.next_wakeup()) is not None and wakeup <= until:
        machine.tick(wakeup)
        told += [(wakeup, envelope) for envelope in machine.take_sends()]
    return told


def test_one_character_takes_its_ten_bits():
    line = wires()
    line.receive(Envelope(END, FAR, b"x"), Instant(1_000))

    assert arrivals(line) == [(1_000 + CHARACTER, Envelope(END, FAR, b"x"))]


def test_parity_and_a_second_stop_bit_take_their_time_too():
    assert Line(rate=1_000, frame="8N1").lasting(1) == 10_000_000
    assert Line(rate=1_000, frame="8E2").lasting(1) == 12_000_000
    assert Line(rate=1_000, frame="7O1").lasting(2) == 20_000_000
    assert Line(rate=1_000, frame="5N1.5").lasting(1) == 7_500_000


def test_what_is_said_waits_behind_what_was_said_before():
    line = wires()
    line.receive(Envelope(END, FAR, b"ab"), Instant(0))
    line.receive(Envelope(END, FAR, b"c"), Instant(10))

    at = [at for at, _ in arrivals(line)]
    assert at == [173_612, 173_612 + CHARACTER]


def test_the_two_directions_do_not_touch():
    line = wires()
    line.receive(Envelope(END, FAR, b"a" * 100), Instant(0))
    line.receive(Envelope(FAR, END, b"b"), Instant(0))

    assert arrivals(line)[0] == (CHARACTER, Envelope(FAR, END, b"b"))


def test_nothing_at_all_is_handed_over_as_it_is():
    line = wires()
    line.receive(Envelope(FAR, END, b""), Instant(5))

    assert arrivals(line) == [(5, Envelope(FAR, END, b""))]


@settings(max_examples=80, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 10**6), st.binary(min_size=1, max_size=50)), max_size=6))
def test_nothing_is_lost_and_everything_comes_in_order_in_small_pieces(said):
    line, now = wires(), 0
    for gap, octets in said:
        now += gap
        line.receive(Envelope(END, FAR, octets), Instant(now))
    told = arrivals(line)

    assert b"".join(e.payload for _, e in told) == b"".join(octets for _, octets in said)
    assert all(len(e.payload) <= PIECE for _, e in told)
    assert [at for at, _ in told] == sorted(at for at, _ in told)


def test_it_keeps_the_laws_of_machines():
    things = [(at * 100_000, Envelope(END, FAR, b"x" * at)) for at in range(1, 30)]

    obey(wires, things, 10**8, lambda line: line.next_wakeup())
