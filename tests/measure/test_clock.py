"""A node's clock in bounds: synthetic pairs of clocks with a known truth."""

import random
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
import scipy.optimize
from hypothesis import given, settings
from hypothesis import strategies as st
from measure.responses import SECOND

from hil.measure.clock import Clock, Exchange, fit_clock
from hil.measure.counter import unwrap
from hil.measure.latency_split import split_latency
from hil.measure.span import Unmeasured

MS, US = 1_000_000, 1_000


class Pair:
    """A tool and a node whose clock is known: count = floor((instant − offset) · rate / tick)."""

    def __init__(self, seed, *, tick, ppm, offset, least=50 * US, most=3 * MS):
        self.tick, self.offset = tick, offset
        self.rate = 1 + Fraction(ppm, 1_000_000)
        self.least, self.most = least, most
        self.chance = random.Random(seed)

    def count(self, instant):
        return int((instant - self.offset) * self.rate / self.tick // 1)

    def delay(self):
        return self.chance.randint(self.least, self.most)

    def exchange(self, sent):
        """Return when the node took it, when it sent, and the exchange."""
        taken = sent + self.delay()
        left = taken + self.delay()
        received = left + self.delay()
        return taken, left, Exchange(sent, received, self.count(left))

    def exchanges(self, count, spacing):
        begin = self.chance.randint(0, SECOND)
        return [self.exchange(begin + n * spacing + self.delay()) for n in range(count)]


CASES = [
    (1 * MS, 85, 0),
    (1 * US, -130, -(10**15)),
    (1 * US, 0, 12_345_678_901),
    (30_517, 4_000, 77),  # about 32768 Hz, a poor oscillator
    (10 * MS, -9_000, -5),
]


@pytest.mark.parametrize(("tick", "ppm", "offset"), CASES)
@pytest.mark.parametrize("count", [1, 2, 5, 200])
def test_the_truth_lies_within_the_bounds(tick, ppm, offset, count):
    for seed in range(5):
        pair = Pair(seed, tick=tick, ppm=ppm, offset=offset)
        made = pair.exchanges(count, 50 * MS)
        clock = fit_clock([exchange for _, _, exchange in made], tick)

        assert clock.drift.low <= ppm <= clock.drift.high
        for _, left, exchange in made:
            span = clock.instant(exchange.stamp)
            assert span.first <= left <= span.last
        later = made[-1][1] + 60 * SECOND
        assert clock.instant(pair.count(later)).first <= later
        assert clock.instant(pair.count(later)).last >= later


@pytest.mark.parametrize(("tick", "ppm", "offset"), CASES[1:3])
def test_more_exchanges_bound_the_drift_more_tightly(tick, ppm, offset):
    pair = Pair(1, tick=tick, ppm=ppm, offset=offset)
    exchanges = [exchange for _, _, exchange in pair.exchanges(2_000, 50 * MS)]
    few = fit_clock(exchanges[:20], tick).drift
    many = fit_clock(exchanges, tick).drift

    assert few.low <= many.low <= ppm <= many.high <= few.high
    assert many.high - many.low < 10  # some 0.5 ms of the quickest exchanges over 100 s
    assert few.high - few.low > 50


@pytest.mark.parametrize("seed", range(6))
def test_the_bounds_are_those_of_linear_programming(seed):
    pair = Pair(seed, tick=1 * US, ppm=40, offset=0)
    exchanges = [exchange for _, _, exchange in pair.exchanges(30, 20 * MS)]
    clock = fit_clock(exchanges, 1 * US)
    origin, base = exchanges[0].stamp, exchanges[0].sent
    rows, limits = [], []
    for e in exchanges:
        rows += [[-1, -(e.stamp + 1 - origin)], [1, e.stamp - origin]]
        limits += [-(e.sent - base), e.received - base]
    slopes = (1_000 / 1.01, 1_000 / 0.99)

    for x in (0, exchanges[-1].stamp - origin, 10**7):
        ends = []
        for sign, shown in ((1, x), (-1, x + 1)):
            peer = scipy.optimize.linprog(
                [sign, sign * shown], A_ub=rows, b_ub=limits, bounds=[(None, None), slopes]
            )
            ends.append(sign * peer.fun + base)
        found = clock.instant(origin + x)

        # HiGHS works to a tolerance of 1e-7 of numbers up to 1e10
        assert (found.first, found.last) == pytest.approx(ends, abs=max(20, 1e-7 * 1_000 * x))


@given(
    ppm=st.integers(-9_000, 9_000),
    tick=st.sampled_from([1, 1_000, 30_517, 1_000_000]),
    times=st.lists(st.tuples(*[st.integers(0, 10**9)] * 3), min_size=1, max_size=12),
    offset=st.integers(-(10**12), 10**12),
)
@settings(max_examples=150)
def test_any_even_clock_lies_within_its_bounds(ppm, tick, times, offset):
    pair = Pair(0, tick=tick, ppm=ppm, offset=offset)
    at, left, exchanges = 0, [], []
    for gap, out, back in times:
        at += gap
        left.append(at + out)
        exchanges.append(Exchange(at, at + out + back, pair.count(at + out)))
        at += out + back

    clock = fit_clock(exchanges, tick)

    assert clock.drift.low - 1e-6 <= ppm <= clock.drift.high + 1e-6
    for instant, exchange in zip(left, exchanges, strict=True):
        span = clock.instant(exchange.stamp)
        assert span.first <= instant <= span.last
    counts = exchanges[-1].stamp - exchanges[0].stamp
    if counts >= 0:
        length = clock.length(counts)
        assert length.first <= left[-1] - left[0] <= length.last


def test_counters_that_wrap_are_unwrapped_first():
    # 32 bits of microseconds, a little before the wrap
    pair = Pair(3, tick=1 * US, ppm=55, offset=-(2**32 - 2_000_000) * US)
    made = pair.exchanges(100, 50 * MS)
    shown = [exchange.stamp % 2**32 for _, _, exchange in made]
    stamps = unwrap(shown)
    assert any(after < before for before, after in pairwise(shown))

    wrapped = [
        Exchange(e.sent, e.received, stamp) for (_, _, e), stamp in zip(made, stamps, strict=True)
    ]
    clock = fit_clock(wrapped, 1 * US)

    assert clock.drift.low <= 55 <= clock.drift.high
    assert all(
        clock.instant(stamp).first <= left <= clock.instant(stamp).last
        for (_, left, _), stamp in zip(made, stamps, strict=True)
    )
    naive = [Exchange(e.sent, e.received, s) for (_, _, e), s in zip(made, shown, strict=True)]
    assert isinstance(fit_clock(naive, 1 * US), Unmeasured)


@pytest.mark.parametrize("change", ["restart", "set", "drift"])
def test_a_clock_that_is_not_even_is_noticed(change):
    before = Pair(1, tick=1 * US, ppm=20, offset=0)
    after = {
        "restart": Pair(2, tick=1 * US, ppm=20, offset=20 * SECOND),
        "set": Pair(2, tick=1 * US, ppm=20, offset=-50 * MS),
        "drift": Pair(2, tick=1 * US, ppm=4_000, offset=0),
    }[change]
    first = [before.exchange(n * 50 * MS)[2] for n in range(200)]
    second = [after.exchange(n * 50 * MS)[2] for n in range(200, 400)]

    found = fit_clock(first + second, 1 * US)

    assert isinstance(found, Unmeasured)
    assert "no even clock" in found.why


def test_slack_takes_in_a_clock_that_strays():
    pair = Pair(1, tick=1 * US, ppm=20, offset=0, least=1, most=200 * US)
    wobble = [int(400 * US * np.sin(n / 10)) for n in range(200)]
    made = [pair.exchange(n * 50 * MS) for n in range(200)]
    exchanges = [
        Exchange(e.sent, e.received, pair.count(left + stray))
        for (_, left, e), stray in zip(made, wobble, strict=True)
    ]

    assert isinstance(fit_clock(exchanges, 1 * US), Unmeasured)
    clock = fit_clock(exchanges, 1 * US, slack=401 * US)
    assert isinstance(clock, Clock)
    for (_, left, _), exchange in zip(made, exchanges, strict=True):
        assert clock.instant(exchange.stamp).first <= left <= clock.instant(exchange.stamp).last


def test_a_known_least_transport_tightens_the_bounds():
    pair = Pair(4, tick=1 * US, ppm=20, offset=0, least=400 * US, most=500 * US)
    made = pair.exchanges(50, 50 * MS)
    exchanges = [exchange for _, _, exchange in made]
    loose = fit_clock(exchanges, 1 * US).instant(exchanges[9].stamp)
    tight = fit_clock(exchanges, 1 * US, least_transport=400 * US).instant(exchanges[9].stamp)

    assert tight.width < loose.width - 700 * US
    assert tight.first <= made[9][1] <= tight.last


def test_readings_sent_unasked_bound_from_above_only():
    pair = Pair(5, tick=1 * US, ppm=20, offset=0)
    made = pair.exchanges(20, 50 * MS)
    unasked = [Exchange(None, e.received, e.stamp) for _, _, e in made]

    assert isinstance(fit_clock(unasked, 1 * US), Unmeasured)
    assert isinstance(fit_clock([], 1 * US), Unmeasured)
    mixed = fit_clock([made[0][2], *unasked[1:]], 1 * US)
    assert mixed.instant(made[0][2].stamp).last >= made[0][1]


@pytest.mark.parametrize(
    "settings", [{"tick": 0}, {"tick": 1, "drift_limit": Fraction(1)}, {"tick": 1, "slack": -1}]
)
def test_limits_that_make_no_sense_are_refused(settings):
    with pytest.raises(ValueError):
        fit_clock([Exchange(0, 1, 0)], **settings)


@pytest.mark.parametrize("tick", [1 * US, 1 * MS])
@pytest.mark.parametrize("seed", range(4))
def test_a_split_holds_the_true_parts(tick, seed):
    pair = Pair(seed, tick=tick, ppm=-77, offset=-(10**12))
    made = pair.exchanges(200, 50 * MS)
    clock = fit_clock([exchange for _, _, exchange in made], tick)
    unknown = total = 0

    for taken, left, e in made[::10]:
        both = split_latency(
            clock, sent=e.sent, received=e.received, stamp=e.stamp, taken=pair.count(taken)
        )
        one = split_latency(
            clock, sent=e.sent, received=e.received, stamp=e.stamp, outward=(0, 3 * MS)
        )
        for split in (both, one):
            assert split.outward.first <= taken - e.sent <= split.outward.last
            assert split.processing.first <= left - taken <= split.processing.last
            assert split.back.first <= e.received - left <= split.back.last
            assert split.total == e.received - e.sent
            for part in (split.outward, split.processing, split.back):
                assert 0 <= part.first <= part.likely <= part.last <= split.total
        if tick == 1 * US:
            assert both.processing.width <= 5 * US
        unknown, total = unknown + both.back.width, total + both.total
    assert unknown < total / (3 if tick == 1 * US else 1)


def test_what_is_known_of_the_way_out_narrows_the_processing():
    pair = Pair(2, tick=1 * US, ppm=30, offset=0, least=400 * US, most=700 * US)
    made = pair.exchanges(100, 50 * MS)
    clock = fit_clock([exchange for _, _, exchange in made], 1 * US)
    taken, left, e = made[50]
    ask = {"sent": e.sent, "received": e.received, "stamp": e.stamp}

    loose = split_latency(clock, **ask).processing
    tight = split_latency(clock, **ask, outward=(400 * US, 700 * US)).processing

    assert tight.last == loose.last - 400 * US
    assert tight.first >= loose.first
    assert tight.first <= left - taken <= tight.last


def test_a_stamp_from_another_time_cannot_be_split():
    pair = Pair(1, tick=1 * US, ppm=0, offset=0)
    made = pair.exchanges(50, 50 * MS)
    clock = fit_clock([exchange for _, _, exchange in made], 1 * US)
    e = made[3][2]
    ask = {"sent": e.sent, "received": e.received, "stamp": e.stamp}

    assert isinstance(split_latency(clock, **ask | {"stamp": e.stamp + 10**6}), Unmeasured)
    assert isinstance(split_latency(clock, **ask, taken=e.stamp + 10**5), Unmeasured)
    assert isinstance(split_latency(clock, **ask, taken=e.stamp - 10**6), Unmeasured)
    assert isinstance(split_latency(clock, **ask, outward=(SECOND, None)), Unmeasured)
