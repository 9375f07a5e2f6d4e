"""The formulas of hil.core.expectation against a library for Signal Temporal Logic.

Independent peer: rtamt, discrete-time offline evaluation.  Traces live on a grid of 1 ms; our
machines get only the changes, the library gets the value held at every grid point.
"""

import random
import warnings
from collections import Counter

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
    limit, hold = chance.randrange(1, 15), chance.randrange(0, 8)
    begin, length = chance.randrange(0, 10), chance.randrange(1, 6)
    early = chance.randrange(1, 5)
    reach = f"eventually[0,{limit}](always[0,{hold}]{GOOD})"
    not_early = f"not (eventually[0,{early - 1}]{GOOD})"
    cases = {
        "within and hold": (Reach, {"within": ms(limit), "hold": ms(hold)}, reach),
        "within": (Reach, {"within": ms(limit)}, f"eventually[0,{limit}]{GOOD}"),
        "within, not before": (
            Reach,
            {"within": ms(limit), "not_before": ms(early)},
            f"(eventually[0,{limit}]{GOOD}) and ({not_early})",
        ),
        "within and hold, not before": (
            Reach,
            {"within": ms(limit), "hold": ms(hold), "not_before": ms(early)},
            f"({reach}) and ({not_early})",
        ),
        "during": (
            Throughout,
            {"during": (ms(begin), ms(begin + length))},
            f"always[{begin},{begin + length}]{GOOD}",
        ),
        "never": (Throughout, {"never": ms(length)}, f"always[0,{length}](not {GOOD})"),
    }
    return chance, cases


@pytest.fixture(scope="module")
def compared():
    """Compare every formula on 400 traces; return how often each was true and false."""
    truths: dict[str, Counter[bool]] = {}
    for seed in range(400):
        chance, cases = _case(seed)
        trace = _trace(chance)
        for name, (kind, timing, formula) in cases.items():
            truth = _truth(formula, trace)
            assert truth == _ours(kind, trace, **timing), (formula, trace)
            truths.setdefault(name, Counter())[truth] += 1
    return truths


@pytest.mark.parametrize("name", _case(0)[1])
def test_the_machines_agree_with_temporal_logic_on_both_truths(compared, name):
    assert compared[name].total() == 400
    assert min(compared[name][True], compared[name][False]) >= 40, compared[name]
