"""The relay as a machine: what it does to datagrams, and that nothing else happens to them."""

from collections import Counter
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from laws import obey

from hil.bus.relay import Passing, Relay
from hil.core.instant import MILLISECOND, SECOND, Duration, Instant
from hil.wire.disturbance import Disturbance, RelayScript, Way

MS = MILLISECOND
START = Instant(1_000)


def relay(*script, seed=1, nodes=("n1", "n2")):
    return Relay(RelayScript(seed=seed, script=script), nodes, START)


def send(machine, count=1, node="n1", way=Way.FROM_NODE, every=MS, size=20):
    """Send numbered datagrams; return (instant from the start, payload) of what leaves."""
    left = []
    for number in range(count):
        now = Instant(START + number * every)
        left += run_to(machine, now)
        payload = number.to_bytes(2, "big").ljust(size, b"\0")
        machine.receive(Passing(node, way, payload), now)
    return left + run_to(machine, Instant(START + 1000 * SECOND))


def run_to(machine, until):
    left = []
    while (wakeup := machine.next_wakeup()) is not None and wakeup <= until:
        machine.tick(wakeup)
        left += [(wakeup - START, thing.payload) for thing in machine.take_sends()]
    return left


def numbers(left):
    return [int.from_bytes(payload[:2], "big") for _, payload in left]


def test_without_a_script_everything_passes_at_once():
    assert send(relay(), 3) == [(n * MS, n.to_bytes(2, "big").ljust(20, b"\0")) for n in range(3)]


def test_a_delay_keeps_the_order_and_a_jitter_does_too():
    left = send(relay(Disturbance(delay=Duration(5 * MS), jitter=Duration(9 * MS))), 200)

    assert numbers(left) == list(range(200))
    assert all(5 * MS <= at - n * MS <= 14 * MS for n, (at, _) in enumerate(left))
    assert len({at - n * MS for n, (at, _) in enumerate(left)}) > 100


def test_a_rate_makes_datagrams_follow_each_other():
    # 20 octets at 16 kbit/s take 10 ms: (20 * 8) / 16000 s
    left = send(relay(Disturbance(rate=16_000)), 5)

    assert [at for at, _ in left] == [n * 10 * MS for n in range(1, 6)]


@pytest.mark.parametrize(
    ("what", "happened"),
    [
        ("loss", lambda left, count: count - len(left)),
        ("duplicate", lambda left, count: len(left) - count),
        ("corrupt", lambda left, count: sum(differing(left))),
        ("truncate", lambda left, count: sum(len(payload) < 20 for _, payload in left)),
    ],
)
def test_a_part_of_all_datagrams_is_disturbed(what, happened):
    left = send(relay(Disturbance(**{what: Decimal("0.2")})), 2000)

    # binomial, 2000 trials at 0.2: mean 400, standard deviation 17.9; 5 of those
    assert 310 <= happened(left, 2000) <= 490


def differing(left):
    """Return how many bits differ from what was sent, datagram by datagram, where any do."""
    for number, (_, payload) in enumerate(left):
        sent = number.to_bytes(2, "big").ljust(20, b"\0")
        wrong = int.from_bytes(sent, "big") ^ int.from_bytes(payload, "big")
        if wrong:
            assert wrong.bit_count() == 1
            yield 1


def test_a_reordered_datagram_is_overtaken():
    left = send(relay(Disturbance(reorder=Decimal("0.1"), held=Duration(5 * MS))), 500)

    order = numbers(left)
    assert sorted(order) == list(range(500))
    late = [n for place, n in enumerate(order) if n < max(order[: place + 1])]
    assert 20 <= len(late) <= 90


def test_nodes_and_ways_are_told_apart():
    script = Disturbance(nodes=("n1",), ways=(Way.TO_NODE,), loss=Decimal(1))

    assert send(relay(script), way=Way.TO_NODE) == []
    assert len(send(relay(script), way=Way.FROM_NODE)) == 1
    assert len(send(relay(script), node="n2", way=Way.TO_NODE)) == 1
    assert len(send(relay(script), node="stranger", way=Way.TO_NODE)) == 1


def test_of_several_that_fit_the_last_counts():
    deaf = Disturbance(loss=Decimal(1))

    assert send(relay(Disturbance(), deaf), 3) == []
    assert len(send(relay(deaf, Disturbance(nodes=("n1",))), 3)) == 3


def test_a_disturbance_has_its_time():
    loss = Disturbance(loss=Decimal(1), begin=Duration(2 * MS), end=Duration(4 * MS))

    assert numbers(send(relay(loss), 6)) == [0, 1, 4, 5]


def test_while_it_is_calm_everything_passes_unharmed():
    machine = relay(Disturbance(loss=Decimal(1)))
    machine.calm()
    assert numbers(send(machine, 3)) == [0, 1, 2]

    machine.disturb()
    assert run_after(machine) == []


def run_after(machine):
    now = Instant(START + 2000 * SECOND)
    machine.receive(Passing("n1", Way.TO_NODE, b"x"), now)
    return run_to(machine, Instant(now + SECOND))


def test_what_is_held_leaves_at_once_when_it_calms_down():
    machine = relay(Disturbance(delay=Duration(500 * MS)))
    for number in range(3):
        machine.receive(Passing("n1", Way.TO_NODE, bytes([number])), START)
    machine.calm()
    machine.receive(Passing("n1", Way.TO_NODE, b"safe"), START)

    assert [thing.payload for thing in machine.take_sends()] == [b"\0", b"\1", b"\2", b"safe"]


def test_a_plan_can_say_something_else():
    machine = relay(Disturbance(loss=Decimal(1)))
    machine.disturb([Disturbance(nodes=("n2",), loss=Decimal(1))])

    assert len(send(machine, 3)) == 3


def test_the_same_seed_does_the_same_and_another_something_else():
    wild = Disturbance(loss=Decimal("0.5"), jitter=Duration(5 * MS))

    assert send(relay(wild), 100) == send(relay(wild), 100)
    assert send(relay(wild), 100) != send(relay(wild, seed=2), 100)


def test_what_happens_to_one_node_does_not_depend_on_another():
    half = Disturbance(loss=Decimal("0.5"))
    alone, beside = relay(half), relay(half)
    for number in range(50):
        beside.receive(Passing("n2", Way.FROM_NODE, b"other"), Instant(START + number))
    run_to(beside, START)

    assert numbers(send(alone, 100)) == numbers([e for e in send(beside, 100) if e[1] != b"other"])


@settings(max_examples=60)
@given(
    loss=st.sampled_from([0, 1]),
    duplicate=st.decimals(0, 1, places=2),
    reorder=st.decimals(0, 1, places=2),
    jitter=st.integers(0, 10 * MS),
    rate=st.none() | st.integers(8_000, 10_000_000),
)
def test_nothing_is_lost_or_doubled_without_being_told_to(loss, duplicate, reorder, jitter, rate):
    script = Disturbance(
        loss=Decimal(loss),
        duplicate=duplicate,
        reorder=reorder,
        held=Duration(MS),
        jitter=Duration(jitter),
        rate=rate,
    )
    times = Counter(numbers(send(relay(script), 30)))

    assert set(times) == (set() if loss else set(range(30)))
    assert set(times.values()) <= ({1, 2} if duplicate else {1})


def test_it_obeys_the_laws_of_machines():
    obey(
        lambda: relay(Disturbance(delay=Duration(3 * MS), duplicate=Decimal("0.5"))),
        [(START + n * MS, Passing("n1", Way.TO_NODE, bytes([n]))) for n in range(9)],
        until=START + 50 * MS,
        state=lambda machine: machine.next_wakeup(),
    )
