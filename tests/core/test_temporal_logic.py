"""The formulas of hil.core.expectation against a library for Signal Temporal Logic.

Independent peer: rtamt, discrete-time offline evaluation.  Traces live on a grid of 1 ms; our
machines get only the changes, the library gets the value held at every grid point.
"""

import random
import warnings

import pytest
from core.paper import at, expect, limits, ms, number, sample
from laws import run

from hil.core.instant import Instant
from hil.core.reach import Reach
from hil.core.throughout import Throughout
from hil.core.verdict import Outcome

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    rtamt = pytest.importorskip("rtamt", reason="rtamt does not install on this Python")

GOOD = "((x >= 1) and (x <= 2))"
VALUES = (0, 1.5, 3)  # none lies on a limit, where a robustness of 0 says nothing
GRID = 40


def _truth(formula: str, trace: list[float]) -> bool:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        spec = rtamt.StlDiscreteTimeSpecification()
        spec.declare_var("x", "float")
        spec.spec = formula
        spec.parse()
        robustness = spec.evaluate({"time": list(range(len(trace))), "x": trace})
    return robustness[0][1] > 0


def _trace(chance: random.Random) -> list[float]:
    trace: list[float] = [chance.choice(VALUES)]
    while len(trace) < GRID:
        trace += [chance.choice(VALUES)] * chance.choice((1, 1, 2, 3, 5, 8))
    return trace[:GRID]


def _ours(kind, trace: list[float], **timing) -> bool:
    things = [
        sample(i, str(value)) for i, value in enumerate(trace) if i == 0 or value != trace[i - 1]
    ]
    watch = kind(expect(limits("1", "2"), **timing), number(), Instant(0))
    run(watch, [(s.at, s) for s in things], int(at(GRID + 100)))
    assert watch.finding is not None
    assert watch.finding.outcome in (Outcome.PASS, Outcome.FAIL)
    return watch.finding.outcome is Outcome.PASS


def _case(seed: int):
    chance = random.Random(seed)
    limit, hold = chance.randrange(1, 15), chance.randrange(0, 12)
    begin = chance.randrange(0, 10)
    early = chance.randrange(1, 8)
    reach = f"eventually[0,{limit}](always[0,{hold}]{GOOD})"
    cases = [
        (Reach, {"within": ms(limit), "hold": ms(hold)}, reach),
        (Reach, {"within": ms(limit)}, f"eventually[0,{limit}]{GOOD}"),
        (
            Reach,
            {"within": ms(limit), "not_before": ms(early)},
            f"(eventually[0,{limit}]{GOOD}) and (not (eventually[0,{early - 1}]{GOOD}))",
        ),
        (
            Throughout,
            {"during": (ms(begin), ms(begin + limit))},
            f"always[{begin},{begin + limit}]{GOOD}",
        ),
        (Throughout, {"never": ms(limit)}, f"always[0,{limit}](not {GOOD})"),
    ]
    return chance, cases


@pytest.mark.parametrize("block", range(20))
def test_the_machines_agree_with_temporal_logic(block):
    compared = 0
    for seed in range(block * 20, block * 20 + 20):
        chance, cases = _case(seed)
        trace = _trace(chance)
        for kind, timing, formula in cases:
            assert _truth(formula, trace) == _ours(kind, trace, **timing), (formula, trace)
            compared += 1

    assert compared == 100
