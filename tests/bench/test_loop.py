"""The loop: order, horizon, what is recorded, and what happens when the bench fails."""

import pytest
from bench.small import SMALL, Diary, Echo, Script, Silent, command, ms, packet, started

from hil.bench.bench import Arrival, Refusal
from hil.bench.loop import MachineFault, drive
from hil.bench.medium import SteadyMedium
from hil.bench.virtual import VirtualBench
from hil.core.error import BenchError, StoreError
from hil.core.event import Datagram, RunEnded
from hil.core.instant import Duration, Instant
from hil.core.observation import HostNote, HostTrouble
from hil.wire.rack import Address

ORIGIN = Instant(0)


def play(diary, bench, *, as_links=True, origin=ORIGIN):
    """Drive with the diary in the place of the links (or of the engine); return the record."""
    recorded = []
    other = Silent(lambda: diary.done)
    engine, links = (other, diary) if as_links else (diary, other)
    drive(engine, links, bench, recorded.append, origin=origin)
    return recorded


def ignore(event):
    """Record nothing."""


def test_time_reaches_the_horizon_and_not_the_deadline_that_was_asked_for():
    # The bench woke at 60 ms but can vouch only for 49 ms; the answer of 48 ms comes next.
    late_answer = Arrival(packet(b"answer"), ms(48))
    bench = Script((ms(47), []), (ms(60), [late_answer]))
    diary = Diary(last=ms(50))

    play(diary, bench)

    assert [("packet", b"answer", ms(48)), ("timer", ms(50), ms(50))] == diary.told


def test_an_arrival_at_the_very_instant_of_a_timer_comes_before_it():
    bench = Script((ms(50), [Arrival(packet(b"in time"), ms(50))]))
    diary = Diary(last=ms(50))

    play(diary, bench)

    assert [name for name, _, _ in diary.told] == ["packet", "timer"]


def test_timers_between_two_arrivals_run_between_them():
    arrivals = [Arrival(packet(b"a"), ms(10)), Arrival(packet(b"b"), ms(30))]
    diary = Diary(last=ms(40), wakeups=[ms(20)])

    play(diary, Script((ms(40), arrivals)))

    assert [ms(10), ms(20), ms(30), ms(40)] == [at for _, _, at in diary.told]


def test_a_sending_is_told_in_its_place_in_time():
    # Sent at 12 ms; a reading that came at 11 ms is only handed over with the next wait.
    older, newer = Arrival(packet(b"older"), ms(11)), Arrival(packet(b"newer"), ms(13))
    bench = Script((ms(10), []), (ms(20), [older, newer]), stamps=[ms(12)])
    diary = Diary(last=ms(20), send_at=[ms(10)])

    play(diary, bench)

    told = [(name, at) for name, _, at in diary.told]
    wanted = [("timer", 10), ("packet", 11), ("sent", 12), ("packet", 13), ("timer", 20)]
    assert [(name, ms(at)) for name, at in wanted] == told


def test_now_never_goes_back_when_an_arrival_is_older_than_the_horizon():
    bench = Script((ms(10), []), (ms(20), [Arrival(packet(b"old"), ms(4))]))
    diary = Diary(last=ms(20), wakeups=[ms(9)])

    play(diary, bench)

    instants = [at for _, _, at in diary.told]
    assert sorted(instants) == instants


def test_datagrams_are_recorded_with_instants_counted_from_the_origin():
    bench = Script(
        (ms(110), []), (ms(120), [Arrival(packet(b"\x01\xff"), ms(115))]), stamps=[ms(112)]
    )
    diary = Diary(last=ms(120), send_at=[ms(110)])

    recorded = play(diary, bench, origin=ms(100))

    datagrams = [event for event in recorded if isinstance(event, Datagram)]
    sent = b"q%d" % ms(110)
    assert [(ms(12), "out", "n1", sent.hex()), (ms(15), "in", "n1", "01ff")] == [
        (event.at, event.way, event.node, event.hex) for event in datagrams
    ]


def test_datagrams_can_go_where_no_event_is_made_of_them():
    bench, diary = Script((ms(20), [Arrival(packet(b"\x01"), ms(15))])), Diary(last=ms(20))
    recorded, datagrams = [], []

    drive(
        Silent(lambda: diary.done),
        diary,
        bench,
        recorded.append,
        origin=ms(10),
        record_datagram=lambda *passage: datagrams.append(passage),
    )

    assert [(ms(5), "in", "n1", b"\x01")] == datagrams
    assert not [event for event in recorded if isinstance(event, Datagram)]


def test_a_datagram_from_another_address_is_recorded_as_foreign():
    own, other = packet(b"a"), packet(b"b", peer=Address("127.0.0.9", 5))
    bench = Script((ms(20), [Arrival(own, ms(11)), Arrival(other, ms(12))]))
    diary, recorded = Diary(last=ms(20)), []

    drive(
        Silent(lambda: diary.done),
        diary,
        bench,
        recorded.append,
        origin=ORIGIN,
        addresses={"n1": own.peer},
    )

    kinds = [(event.kind, event.hex) for event in recorded]
    assert kinds == [("datagram", "61"), ("foreign-datagram", "62")]
    assert recorded[1].peer == "127.0.0.9:5"


class Careless(Silent):
    """An engine that says of everything that nothing can follow, and notes when it is asked."""

    def __init__(self, done):
        super().__init__(done)
        self.received, self.asked, self.ticked = [], 0, []

    def receive(self, seen, now):
        super().receive(seen, now)
        self.received.append(now)
        return False

    def take_sends(self):
        self.asked += 1
        return ()

    def tick(self, now):
        self.ticked.append(now)

    def next_wakeup(self):
        return ms(30) if not self.ticked else None


def test_an_engine_from_which_nothing_follows_is_not_asked_but_woken_in_time():
    class Telling(Diary):
        """Links that observe something in every packet."""

        def receive(self, packet, now):
            super().receive(packet, now)
            self._news.append(HostNote(trouble=HostTrouble.LATE, at=now, amount=1, text="seen"))

    arrivals = [Arrival(packet(b"%d" % count), ms(count)) for count in range(1, 21)]
    links = Telling(last=ms(40))
    engine = Careless(lambda: links.done)

    drive(engine, links, Script((ms(25), arrivals)), ignore, origin=ORIGIN)

    assert [ms(count) for count in range(1, 21)] == engine.received
    assert [ms(30)] == engine.ticked
    assert engine.asked < 6  # at the beginning, when it was woken, when the links were


def test_nothing_is_recorded_after_the_run_has_ended():
    arrivals = [Arrival(packet(b"a"), ms(10)), Arrival(packet(b"late"), ms(30))]
    diary = Diary(last=ms(20))

    recorded = play(diary, Script((ms(40), arrivals)), as_links=False)

    assert isinstance(recorded[-1], RunEnded)
    assert sum(isinstance(event, Datagram) for event in recorded) == 1


def test_an_observer_sees_events_but_no_datagrams():
    diary, seen = Diary(last=ms(5)), []
    diary.events.append(started())

    drive(
        diary,
        Silent(),
        Script((ms(1), [Arrival(packet(), ms(1))])),
        ignore,
        origin=ORIGIN,
        observe=seen.append,
    )

    assert [event.kind for event in seen] == ["case-started", "run-ended"]


def test_refusals_go_to_the_links_and_notes_to_the_engine():
    note = HostNote(trouble=HostTrouble.LATE, at=ms(9), amount=1, text="late")
    arrivals = [Arrival(Refusal("n2", "closed"), ms(3)), Arrival(note, ms(4))]
    links, engine = Diary(last=ms(10)), Diary(last=ms(10))

    drive(engine, links, Script((ms(5), arrivals)), ignore, origin=ORIGIN)

    assert ("refused", "n2: closed", ms(3)) in links.told
    assert ("HostNote", note, ms(4)) in engine.told


def test_commands_become_packets_in_the_same_instant():
    class Commanding(Silent):
        wanted = (command(7),)

        def take_sends(self):
            wanted, self.wanted = self.wanted, ()
            return wanted

    links = Diary(last=ms(1))

    drive(Commanding(lambda: links.done), links, Script(), ignore, origin=ORIGIN)

    assert links.told[0] == ("execute", 7, 0)


def test_a_case_is_recorded_as_begun_before_its_first_packet_leaves():
    recorded, known = [], []

    class Beginning(Silent):
        wanted, events = (command(7),), [started()]

        def take_sends(self):
            wanted, self.wanted = self.wanted, ()
            return wanted

        def take_events(self):
            events, self.events = self.events, []
            return events

    class Sending(Silent):
        packets = ()

        def execute(self, command, now):
            self.packets = (packet(),)

        def take_sends(self):
            packets, self.packets = self.packets, ()
            return packets

    class Watched(Script):
        def send(self, packet):
            known.append([event.kind for event in recorded])
            return super().send(packet)

    drive(Beginning(lambda: bool(known)), Sending(), Watched(), recorded.append, origin=ORIGIN)

    assert known == [["case-started"]]


class Broken(Script):
    """A bench that fails at one wait, or from it on."""

    def __init__(self, fails_at, *, for_ever=False):
        super().__init__()
        self._fails_at, self._for_ever, self._count = fails_at, for_ever, 0

    def wait(self, until):
        self._count += 1
        if self._count == self._fails_at or (self._for_ever and self._count > self._fails_at):
            raise BenchError("the interface is gone")
        return super().wait(until)


def test_a_failing_bench_ends_the_run_and_what_is_safe_is_still_driven():
    diary = Diary(last=ms(30), wakeups=[ms(10)], send_at=[ms(20)])
    other = Silent(lambda: diary.done)
    bench = Broken(2)

    drive(other, diary, bench, ignore, origin=ORIGIN)

    assert [abort.reason for abort in other.aborts] == ["the interface is gone"]
    assert len(bench.sent) == 1  # after the failure


def test_a_bench_that_stays_broken_raises_and_no_event_is_lost():
    diary = Diary(last=ms(30))
    diary.events.append(started())
    recorded = []

    with pytest.raises(BenchError, match="the interface is gone"):
        drive(diary, Silent(), Broken(1, for_ever=True), recorded.append, origin=ORIGIN)

    assert [event.kind for event in recorded] == ["case-started"]
    assert len(diary.aborts) == 1


def test_a_full_disk_ends_the_run_after_what_is_safe_was_driven():
    diary = Diary(last=ms(30), wakeups=[ms(10)], send_at=[ms(20)])
    other, bench = Silent(lambda: diary.done), Script((ms(1), [Arrival(packet(), ms(1))]))

    def full(event):
        raise StoreError("journal: no space left on device")

    with pytest.raises(StoreError, match="no space left"):
        drive(other, diary, bench, full, origin=ORIGIN)

    assert [abort.reason for abort in other.aborts] == ["journal: no space left on device"]
    assert len(bench.sent) == 1  # after the failure
    assert diary.done


def test_a_machine_that_never_lets_time_pass_is_found_out():
    class Stuck(Silent):
        def next_wakeup(self):
            return ms(5)

    with pytest.raises(MachineFault, match="5000000 ns"):
        drive(Stuck(), Silent(), Script(), ignore, origin=ORIGIN)


def test_answers_inside_the_send_call_are_all_seen():
    # the answer is there before anybody waits for it: a node that answers at once, on a segment that takes no time: 100 of 100.
    rounds = [ms(count) for count in range(1, 101)]
    diary = Diary(last=ms(101), send_at=rounds)

    play(diary, VirtualBench(SMALL, Echo(), medium=SteadyMedium(Duration(0))))

    answers = [(payload, at) for name, payload, at in diary.told if name == "packet"]
    assert [(b"q%d" % at, at) for at in rounds] == answers
