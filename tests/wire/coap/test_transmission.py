"""Message ids and the sending of messages to one peer, below the endpoint."""

from hil.core.chance import Chance
from hil.core.instant import MILLISECOND, SECOND, Duration, Instant
from hil.wire.coap.message_ids import MessageIds
from hil.wire.coap.parameters import Parameters
from hil.wire.coap.transmission import Transmission, Transmitter
from hil.wire.timers import Timers

LIFETIME = Duration(247 * SECOND)


# RFC 7252 §4.4: an id is not used twice within EXCHANGE_LIFETIME
def test_message_ids_are_not_used_again_too_soon():
    ids = MessageIds(0xFFF0, LIFETIME)
    used = []
    while (number := ids.fresh(Instant(len(used)))) is not None:
        used.append(number)

    assert used[0] == 0xFFF0
    assert len(used) == len(set(used))
    assert 65_536 - 256 < len(used) <= 65_536
    free = ids.free_at()
    assert LIFETIME <= free <= LIFETIME + 512
    assert None is ids.fresh(Instant(free - 1))
    assert ids.fresh(free) is not None


class Wish:
    """Wants something sent, and notes what comes of it."""

    def __init__(self):
        self.ends = []

    def compose(self, message_id, now):
        return bytes((0x40, 1, message_id >> 8, message_id & 255)) + now.to_bytes(8, "big")

    def gave_up(self, why, at):
        self.ends.append((why, at))

    def was_reset(self, at):
        self.ends.append(("reset", at))


class Line:
    """A transmitter and what it sent."""

    def __init__(self, ids=None):
        self.timers = Timers()
        self.sent = []
        ids = ids or MessageIds(1, LIFETIME)
        self.transmitter = Transmitter(self.timers, ids, Chance(1), Parameters(), self.sent.append)

    def submit(self, confirmable=True, until=None, now=0):
        wish = Wish()
        made = Transmission(wish, confirmable, *([] if until is None else [Instant(until)]))
        self.transmitter.submit(made, Instant(now))
        return made, wish

    def pass_until(self, until):
        while (wakeup := self.timers.next()) is not None and wakeup <= until:
            self.timers.fire(wakeup)


def test_what_finds_no_free_id_waits_for_one():
    ids = MessageIds(0, LIFETIME)
    while ids.fresh(Instant(5)) is not None:
        pass
    line = Line(ids)
    _, hasty = line.submit(until=SECOND, now=6)
    line.submit(until=400 * SECOND, now=6)
    line.pass_until(246 * SECOND)

    why = "never sent: all 65,536 message ids were used within 247 s"
    assert [(why, SECOND + 1)] == hasty.ends
    assert line.sent == []
    line.pass_until(LIFETIME + 5)
    assert len(line.sent) == 1


def test_what_became_stale_is_composed_anew_under_another_id_and_still_gives_up_in_time():
    line = Line()
    made, wish = line.submit()
    first = made.timeout
    made.stale = True
    line.pass_until(first)
    assert [octets[3] for octets in line.sent] == [1, 2]
    assert (None, made) == (line.transmitter.find(1), line.transmitter.find(2))
    line.pass_until(3600 * SECOND)

    assert [("no acknowledgement of 5 transmissions", 31 * first)] == wish.ends
    assert len(line.sent) == 5
    assert line.transmitter.idle


def test_closing_what_waits_takes_it_out_of_the_queue():
    line = Line()
    out, _ = line.submit()
    waiting, _ = line.submit()
    assert not line.transmitter.idle
    line.transmitter.close(waiting, Instant(1))
    line.transmitter.close(waiting, Instant(1))
    line.transmitter.acknowledge(out, Instant(2))
    line.transmitter.acknowledge(out, Instant(2))
    line.transmitter.close(out, Instant(3))

    assert (len(line.sent), line.transmitter.idle) == (1, True)


def test_sent_heeds_only_its_own_datagrams():
    line = Line()
    made, _ = line.submit()
    line.transmitter.sent(line.sent[0] + b"x", Instant(MILLISECOND))
    line.transmitter.sent(b"\x60\x00\xff\xff", Instant(MILLISECOND))
    assert made.sent_at == 0
    line.transmitter.sent(line.sent[0], Instant(MILLISECOND))
    assert made.sent_at == MILLISECOND
