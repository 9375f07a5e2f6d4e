"""Whatever arrives, the links never raise, never go back in time and never answer twice."""

from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st
from wire.racks import FEEDLINE, FEEDLINE_AT, LOUVRES, LOUVRES_AT, links

from hil.core.instant import MILLISECOND, Instant
from hil.core.observation import (
    Command,
    CommandAnswered,
    CommandLost,
    CommandSent,
    Purpose,
    Samples,
)
from hil.wire.layout import Codec
from hil.wire.link import Packet
from hil.wire.timers import Timer, Timers

ANSWERS = Codec(LOUVRES.layouts[1], LOUVRES)
ANGLE = Codec(LOUVRES.layouts[2], LOUVRES)
STATE = Codec(FEEDLINE.layouts[2], FEEDLINE)

answers = st.builds(
    lambda request, operation: ANSWERS.encode(request=request, operation=operation),
    st.integers(0, 20),
    st.integers(1, 3),
)
angles = st.builds(
    lambda sequence, uptime: ANGLE.encode(
        {"angle": Decimal(5)}, sequence=sequence, uptime=uptime * MILLISECOND
    ),
    st.integers(0, 2**16 - 1),
    st.integers(0, 2**32 - 1),
)
states = st.builds(
    lambda sequence, boots: STATE.encode(
        {"pressure": None, "temperature": Decimal(1), "pump": "on"},
        sequence=sequence,
        boots=boots,
    ),
    st.integers(0, 200),
    st.integers(0, 3),
)
packets = st.builds(
    Packet,
    st.sampled_from(("louvres", "feedline", "nobody")),
    st.sampled_from((LOUVRES_AT, FEEDLINE_AT)),
    st.one_of(answers, angles, states, st.binary(max_size=40)),
)
command = st.just("command")
steps = st.lists(
    st.tuples(st.integers(0, 70), st.one_of(packets, command, st.none(), st.just("refused"))),
    max_size=40,
)


@settings(deadline=None)
@given(steps)
def test_every_command_ends_exactly_once_and_time_never_goes_back(script):
    machine = links()
    now, token, seen = 0, 0, []
    for wait, thing in script:
        now = Instant(now + wait * MILLISECOND)
        if isinstance(thing, Packet):
            machine.receive(thing, now)
        elif thing == "command":
            token += 1
            value = Decimal(token % 90)
            machine.execute(
                Command(token=token, signal="louvres.angle", value=value, purpose=Purpose.STIMULUS),
                now,
            )
        elif thing == "refused":
            machine.refused("louvres", now, "connection refused")
        else:
            machine.tick(now)
        for packet in machine.take_sends():
            machine.sent(packet, now)
        seen += machine.take_observations()
    machine.tick(Instant(now + 51 * MILLISECOND))
    seen += machine.take_observations()

    ends = [one.token for one in seen if isinstance(one, CommandAnswered | CommandLost)]
    assert sorted(ends) == list(range(1, token + 1))
    assert [one.token for one in seen if isinstance(one, CommandSent)] == list(range(1, token + 1))
    times = [_at(one) for one in seen]
    assert times == sorted(times)
    assert all(
        sample.since <= sample.at
        for one in seen
        if isinstance(one, Samples)
        for sample in one.samples
    )


def _at(one):
    return one.samples[0].at if isinstance(one, Samples) else one.at


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 5), st.one_of(st.none(), st.integers(0, 50))), max_size=60)
)
def test_timers_agree_with_a_plain_dictionary(changes):
    timers, plain, fired = Timers(), {}, []
    made = [
        Timer(timers, lambda due, now, number=number: fired.append((due, number)))
        for number in range(6)
    ]
    for number, at in changes:
        if at is None:
            made[number].clear()
            plain.pop(number, None)
        else:
            made[number].set(at)
            plain[number] = at
        assert timers.next() == min(plain.values(), default=None)
        assert not plain or timers.heap[0][0] <= min(plain.values())

    while timers.fire(Instant(60)):
        pass
    assert sorted(fired) == sorted((at, number) for number, at in plain.items())
    assert [at for at, _ in fired] == sorted(plain.values())
    assert timers.next() is None


@settings(deadline=None)
@given(st.lists(st.integers(1, 9), min_size=1, max_size=20), st.integers(0, 9))
def test_a_timer_that_sets_itself_again_fires_at_each_of_its_instants(periods, other):
    timers, fired = Timers(), []

    def again(due, now):
        fired.append(due)
        if len(fired) < len(periods):
            timer.set(due + periods[len(fired)])

    timer = Timer(timers, again)
    timer.set(periods[0] + other)
    timer.set(periods[0])  # an earlier deadline leaves the later one behind in the heap
    while timers.fire(Instant(1_000)):
        pass

    assert fired == [sum(periods[: count + 1]) for count in range(len(periods))]
