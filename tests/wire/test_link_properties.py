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
from hil.wire.timers import Timers

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
    timers, plain = Timers(), {}
    for number, at in changes:
        key = ("node", "kind", number)
        if at is None:
            timers.clear(key)
            plain.pop(key, None)
        else:
            timers.set(key, at)
            plain[key] = at
        assert timers.next() == min(plain.values(), default=None)

    taken = []
    while (due := timers.take(60)) is not None:
        taken.append(due)
    assert sorted(taken) == sorted((at, key) for key, at in plain.items())
    assert [at for at, _ in taken] == sorted(plain.values())
