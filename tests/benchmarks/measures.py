"""Judging a long trace, against the temporal-logic library; a step response, against the peer's.

The library's offline evaluation of a bounded `eventually` takes more than in proportion to the trace
(hours for the whole one), so it gets the first fiftieth and its time counts fifty times, which is
less than it would take.
"""

import warnings

import control
import numpy as np
import rtamt
from benchmarks.measure import Figure, best, show_time
from core.paper import at, expect, limits, ms, number, sample

from hil.core.instant import Instant
from hil.core.reach import Reach
from hil.measure.step_response import from_step, ieee_181

SAMPLES = 1_000_000
PART = 50
HOLD = 150
POINTS = 100_000


def trace(samples: int) -> list[float]:
    """Return a value that is right for 100 ms of every 400: never long enough."""
    return [1.5 if place % 400 < 100 else 0.5 for place in range(samples)]


def judge(things: list) -> None:
    watch = Reach(expect(limits("1", "2"), within=ms(SAMPLES), hold=ms(HOLD)), number(), Instant(0))
    receive = watch.receive
    for thing in things:
        receive(thing, thing.at)
    watch.tick(at(SAMPLES + HOLD + 1))
    assert watch.finding is not None and watch.finding.outcome.word == "fail"


def peer(formula: str, values: list[float]) -> None:
    spec = rtamt.StlDiscreteTimeSpecification()
    spec.declare_var("x", "float")
    spec.spec = formula
    spec.parse()
    found = spec.evaluate({"time": list(range(len(values))), "x": values})
    assert found[0][1] < 0


def judging() -> Figure:
    things = [sample(place, str(value)) for place, value in enumerate(trace(SAMPLES))]
    ours = best(lambda: judge(things), times=3)
    count = SAMPLES // PART
    formula = f"eventually[0,{count}](always[0,{HOLD}]((x >= 1) and (x <= 2)))"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = PART * best(lambda: peer(formula, trace(count)), times=2)
    return Figure(
        what="a million samples through within/hold, against the STL library",
        value=show_time(ours),
        floor=show_time(theirs),
        ratio=theirs / ours,
        limit=10,
        at_least=True,
    )


def response(measure) -> Figure:
    seconds = np.linspace(-5, 15, POINTS)
    late = np.maximum(seconds, 0)
    swing = np.cos(late * 0.75**0.5) + 0.5 / 0.75**0.5 * np.sin(late * 0.75**0.5)
    values = 1 - np.exp(-0.5 * late) * swing
    instants = (seconds * 1e9).round().astype(np.int64)
    ours = best(lambda: measure(instants, values, step=0), times=15)
    theirs = best(lambda: control.step_info(values, T=seconds, yfinal=1.0), times=15)
    return Figure(
        what=f"a step response of 100,000 samples ({measure.__name__}), against the peer",
        value=show_time(ours),
        floor=show_time(theirs),
        ratio=ours / theirs,
        limit=3,
    )


def figures() -> list[Figure]:
    return [judging(), response(ieee_181), response(from_step)]
