"""Decision rules and accuracies: read, and refused where they could decide nothing."""

from decimal import Decimal

import pytest
from files.probes import BENCH, bench, bench_mistakes, cases, expecting, mistakes

from hil.core.signal import Accuracy
from hil.measure.decision import GuardedAcceptance, SimpleAcceptance, StatedRisk

OLD = "position: {unit: deg, scale: 0.1, range: -95 deg to 95 deg}"
NEW = "position: {unit: deg, scale: 0.1, range: -95 deg to 95 deg, accuracy: 0.3 deg}"
VALUE = "signal: probe.position, value: 30 deg, tolerance: 1.5 deg, within: 1 s"


@pytest.fixture(scope="module")
def sure(tmp_path_factory):
    return bench(tmp_path_factory.mktemp("sure"), BENCH.replace(OLD, NEW))


@pytest.mark.parametrize(
    ("more", "rule", "stimulus"),
    [
        ("rule: simple", SimpleAcceptance(), "0"),
        ("rule: guarded", GuardedAcceptance(Decimal(1)), "0"),
        ("rule: guarded, guard: 1.5", GuardedAcceptance(Decimal("1.5")), "0"),
        ("rule: stated-risk, risk: 2.5 %", StatedRisk(Decimal("0.025")), "0"),
        ("rule: guarded, stimulus-uncertainty: 0.2 deg", GuardedAcceptance(), "0.2"),
    ],
)
def test_a_rule_is_read(tmp_path, sure, more, rule, stimulus):
    (found,) = cases(tmp_path, sure, expecting(f"{{{VALUE}, {more}}}"))[0].steps[0].expectations

    assert (found.measure.rule, found.measure.stimulus) == (rule, Decimal(stimulus))
    assert found.measure.limits == found.condition


@pytest.mark.parametrize(
    ("text", "what"),
    [
        (f"{VALUE}, rule: strict", "rule: expected `simple`, `guarded` or `stated-risk`"),
        (f"{VALUE}, rule: stated-risk", "`stated-risk` needs the risk | try: risk: 2.5 %"),
        (f"{VALUE}, rule: stated-risk, risk: 60 %", "risk: expected less than 50 %"),
        (f"{VALUE}, rule: guarded, risk: 5 %", "`risk` goes only with `rule: stated-risk`"),
        (f"{VALUE}, rule: guarded, guard: -1", "guard: expected more than 0"),
        (f"{VALUE}, risk: 5 %", "`risk` goes only with `rule`"),
        (f"{VALUE}, rule: guarded, not-before: 10 ms", "does not go with `not-before`"),
        (f"{VALUE}, rule: guarded, edges: exclusive", "does not go with `edges: exclusive`"),
        (f"{VALUE}, rule: guarded, stimulus-uncertainty: 1 bar", "stimulus-uncertainty: `1 bar`"),
        ("signal: probe.lamp, value: red, within: 1 s, rule: simple", "rule: is for limits"),
        (
            "signal: probe.position, value: 30 deg, tolerance: 0.2 deg, within: 1 s, rule: guarded",
            "rule: no reading of probe.position would pass, its U is",
        ),
        (
            "signal: probe.pressure, above: 3 bar, within: 1 s, rule: guarded",
            "rule: nothing says how sure probe.pressure is | try: `accuracy` for it",
        ),
    ],
)
def test_a_rule_that_decides_nothing_is_refused(tmp_path, sure, text, what):
    found = mistakes(tmp_path, sure, expecting(f"{{{text}}}"))

    assert any(what in sentence for sentence in found), found


def test_an_accuracy_may_have_parts(tmp_path):
    parts = "accuracy: {of-reading: 0.5 %, of-range: 0.1 %, counts: 2, fixed: 0.05 deg}"
    rack = bench(tmp_path, BENCH.replace(OLD, NEW.replace("accuracy: 0.3 deg", parts)))
    signal = rack.signals()["probe.position"]

    assert signal.accuracy_parts == Accuracy(
        of_reading=Decimal("0.005"),
        of_range=Decimal("0.001"),
        counts=Decimal(2),
        fixed=Decimal("0.05"),
    )
    # at 95 deg: 0.475 + 0.19 + 0.2 + 0.05
    assert signal.accuracy == Decimal("0.915")


@pytest.mark.parametrize(
    ("parts", "what"),
    [
        ("{of-reading: 0.5 deg}", "of-reading: `0.5 deg`"),
        ("{of-reading: -1 %}", "is not from 0 % to below 100 %"),
        ("{counts: -2}", "counts: is negative"),
        ("{fixed: -1 deg}", "fixed: `-1 deg` is negative"),
        ("{of-reeding: 1 %}", "an accuracy has no key `of-reeding` | try: of-reading"),
        ("{}", "accuracy: says nothing"),
    ],
)
def test_an_odd_accuracy_is_refused(tmp_path, parts, what):
    new = NEW.replace("accuracy: 0.3 deg", f"accuracy: {parts}")
    found = bench_mistakes(tmp_path, OLD, new)

    assert any(what in sentence for sentence in found), found


def test_parts_need_what_they_are_parts_of(tmp_path):
    old = "air: {unit: kPa, range: 30 kPa to 120 kPa}"
    found = bench_mistakes(tmp_path, old, "air: {unit: kPa, accuracy: {of-range: 1 %, counts: 1}}")

    assert any("of-range: the signal has no `range`" in sentence for sentence in found)
    assert any("counts: the signal is not carried in whole counts" in one for one in found)
