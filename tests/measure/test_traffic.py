"""How readings arrive: counted from the numbers and stamps of real datagrams.

Reordered packets and jitter as RFC 4737 and RFC 3550 define them; the stream 1 2 3 5 6 7 8 4 9 10
is the example of RFC 4737 10.1 (from memory).
"""

from decimal import Decimal

import pytest
from core.paper import ms
from measure.mast import MAST, datagram
from measure.meters import finding, number

from hil.core.observation import NodeTrouble
from hil.core.verdict import Outcome
from hil.measure.bound import Bound
from hil.measure.traffic import Metric, Traffic


def judge(metric, limit, things):
    bound = Bound(low=None, high=Decimal(str(limit)), words=f"at most {limit}")
    measure = Traffic(node=MAST, metric=metric, bound=bound, window=ms(5000))
    return finding(measure, [number("mast.light", "lx")], things, paths=("mast.light",))


def steady(numbers):
    return [datagram(n, 100 * (place + 1)) for place, n in enumerate(numbers)]


def test_a_steady_stream_has_nothing_wrong_with_it():
    for metric in Metric:
        found = judge(metric, 2_000_000 if metric.timed else 0, steady(range(1, 21)))
        assert found.outcome is Outcome.PASS, metric


def test_a_missing_number_is_a_loss_across_the_wrap():
    stream = steady([65534, 65535, 1, 2])  # 0 is missing

    assert judge(Metric.LOSS, 19, stream).outcome is Outcome.FAIL
    found = judge(Metric.LOSS, 20, stream)
    assert found.outcome is Outcome.PASS and found.figures[0].likely == 20


def test_what_the_tool_takes_for_a_duplicate_is_counted():
    stream = [*steady([1, 2, 3, 4]), datagram(4, 401, NodeTrouble.DUPLICATE)]
    found = judge(Metric.DUPLICATES, 20, stream)

    assert found.outcome is Outcome.FAIL
    assert found.figures[0].likely == 25
    assert judge(Metric.LOSS, 0, stream).outcome is Outcome.PASS


def test_reordered_packets_are_those_of_rfc_4737():
    order = [1, 2, 3, 5, 6, 7, 8, 4, 9, 10]
    stream = [
        datagram(n, 100 * (i + 1), NodeTrouble.STRAY if n == 4 else None)
        for i, n in enumerate(order)
    ]
    found = judge(Metric.REORDERING, 10, stream)

    assert found.outcome is Outcome.PASS and found.margin == 0
    assert found.figures[0].likely == 10
    assert judge(Metric.LOSS, 0, stream).outcome is Outcome.PASS


def test_delay_variation_and_jitter_are_worked_out_from_stamps():
    # arrivals 100 ms apart but the third, which is 16 ms late: D = 0, 16, -16 ms
    stream = [
        datagram(1, 100),
        datagram(2, 200),
        datagram(3, 316, stamp=300),
        datagram(4, 400),
    ]
    variation = judge(Metric.DELAY_VARIATION, ms(17), stream)
    jitter = judge(Metric.JITTER, ms(3), stream)

    assert variation.figures[0].likely == ms(16)
    # RFC 3550 6.4.1: J = 0, then 16/16 = 1, then 1 + (16 - 1)/16 = 1.9375 ms
    assert jitter.figures[0].likely == pytest.approx(1.9375e6)
    unsure = judge(Metric.DELAY_VARIATION, ms(16.5), stream)
    assert unsure.outcome is Outcome.INCONCLUSIVE
    assert unsure.said.endswith(": the limit lies in between")
    assert judge(Metric.DELAY_VARIATION, ms(14), stream).outcome is Outcome.FAIL


@pytest.mark.parametrize(
    ("stream", "why"),
    [
        (steady([1]), "1 readings came"),
        ([*steady([1, 2]), datagram(1, 300, boots=2)], "the node booted in between"),
    ],
)
def test_what_cannot_be_counted_says_why(stream, why):
    found = judge(Metric.LOSS, 0, stream)

    assert found.outcome is Outcome.INCONCLUSIVE and why in found.said
