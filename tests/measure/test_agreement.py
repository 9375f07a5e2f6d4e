"""Do several places show the same, whichever changes first?"""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hil.core.verdict import Outcome
from hil.measure.agreement import Change, agreement

MS = 1_000_000


def shown(*changes):
    """Return changes from (at ms, value) or (since ms, at ms, value)."""
    return [
        Change(int(c[0] * MS), int(c[-2] * MS), c[-1]) if len(c) == 3 else
        Change(int(c[0] * MS), int(c[0] * MS), c[1])
        for c in changes
    ]  # fmt: skip


def judge(within_ms=100, until_ms=1_000, tolerance="0", **signals):
    return agreement(signals, within=within_ms * MS, until=until_ms * MS, tolerance=D(tolerance))


def test_the_last_to_follow_is_in_time():
    found = judge(
        lamp=shown((0, "green"), (500, "red")),
        disc=shown((0, "green"), (520, "red")),
        text=shown((0, "green"), (580, "red")),
    )

    assert found.outcome is Outcome.PASS
    assert (found.worst.leader, found.worst.last) == ("lamp", "text")
    assert found.worst.skew.likely == 80 * MS
    assert found.margin == pytest.approx(0.2)
    assert dict(found.worst.shown) == {"lamp": "red", "disc": "green", "text": "green"}


def test_whichever_changes_first_leads():
    found = judge(
        lamp=shown((0, "green"), (540, "red"), (700, "green")),
        disc=shown((0, "green"), (500, "red"), (710, "green")),
    )

    assert [(d.leader, d.last, d.skew.likely // MS) for d in found.disagreements] == [
        ("disc", "lamp", 40),
        ("lamp", "disc", 10),
    ]


@pytest.mark.parametrize(("second", "outcome"), [(600, Outcome.PASS), (600.000001, Outcome.FAIL)])
def test_the_limit_itself_is_in_time(second, outcome):
    found = judge(lamp=shown((0, "off"), (500, "red")), disc=shown((0, "off"), (second, "red")))

    assert found.outcome is outcome


@pytest.mark.parametrize(
    ("looks", "outcome"),
    [
        ((560, 590), Outcome.PASS),
        ((560, 610), Outcome.INCONCLUSIVE),
        ((590, 640), Outcome.INCONCLUSIVE),
        ((620, 670), Outcome.FAIL),
    ],
)
def test_a_sampled_signal_is_judged_by_its_looks(looks, outcome):
    found = judge(lamp=shown((0, "off"), (500, "red")), disc=shown((0, "off"), (*looks, "red")))

    assert found.outcome is outcome
    assert (found.margin is None) == (outcome is Outcome.INCONCLUSIVE)


def test_one_that_never_follows_fails_and_is_named_by_its_value():
    found = judge(lamp=shown((0, "off"), (500, "red")), disc=shown((0, "off")))

    assert found.outcome is Outcome.FAIL
    assert (found.worst.last, found.worst.ended) == ("", False)
    assert dict(found.worst.shown)["disc"] == "off"


def test_a_disagreement_cut_short_by_the_end_is_inconclusive():
    found = judge(lamp=shown((0, "off"), (950, "red")), disc=shown((0, "off")))

    assert found.outcome is Outcome.INCONCLUSIVE


def test_disagreeing_from_the_beginning_has_no_leader():
    found = judge(lamp=shown((0, "off")), disc=shown((0, "red"), (50, "off")))

    assert (found.outcome, found.worst.leader, found.worst.last) == (Outcome.PASS, "", "disc")


def test_numbers_agree_within_a_tolerance():
    a, b = shown((0, D("4.80")), (500, D("5.2"))), shown((0, D("4.8")), (900, D("5.15")))

    assert judge(a=a, b=b, tolerance="0.4").outcome is Outcome.PASS
    assert judge(a=a, b=b, tolerance="0.3").outcome is Outcome.FAIL
    assert judge(a=a, b=b, tolerance="0.3", within_ms=400).outcome is Outcome.PASS


def test_no_valid_value_agrees_with_nothing():
    gone = shown((0, "off"), (200, None), (290, "off"))

    assert judge(a=gone, b=shown((0, "off"))).worst.skew.likely == 90 * MS
    assert judge(a=shown((0, None)), b=shown((0, None))).outcome is Outcome.FAIL


def test_changes_after_the_end_do_not_count():
    found = judge(a=shown((0, "off"), (1_001, "red")), b=shown((0, "off")))

    assert (found.outcome, found.worst, found.margin) == (Outcome.PASS, None, None)


def test_changes_at_one_instant_are_no_skew():
    found = judge(a=shown((0, "off"), (500, "red")), b=shown((0, "off"), (500, "red")))

    assert (found.outcome, found.disagreements) == (Outcome.PASS, ())


@pytest.mark.parametrize(("look_ms", "outcome"), [(100, Outcome.PASS), (101, Outcome.INCONCLUSIVE)])
def test_changes_seen_in_one_look_can_have_been_apart_by_its_length(look_ms, outcome):
    change = (500 - look_ms, 500, "red")

    found = judge(a=shown((0, "off"), change), b=shown((0, "off"), change))

    assert found.outcome is outcome
    assert (found.worst.skew.first, found.worst.skew.last) == (0, look_ms * MS)


@given(
    st.lists(st.tuples(st.integers(0, 999), st.sampled_from("abc")), max_size=12),
    st.lists(st.tuples(st.integers(0, 999), st.sampled_from("abc")), max_size=12),
    st.integers(0, 300),
)
def test_the_verdict_is_that_of_looking_at_every_moment(first, second, within):
    lists = [[(0, "a"), *sorted(dict(changes).items())] for changes in (first, second)]
    signals = {
        name: [Change(at, at, v) for at, v in c] for name, c in zip("xy", lists, strict=True)
    }

    def value(changes, moment):
        return [v for at, v in changes if at <= moment][-1]

    longest = run = 0
    for moment in range(1_000):
        same = value(lists[0], moment) == value(lists[1], moment)
        run = 0 if same else run + 1
        longest = max(longest, run)
    found = agreement(signals, within=within, until=1_000)

    assert (found.outcome is Outcome.FAIL) == (longest > within)
    assert max((part.skew.likely for part in found.disagreements), default=0) == longest


@pytest.mark.parametrize("signals", [{"a": shown((0, "x"))}, {"a": shown((0, "x")), "b": []}, {}])
def test_too_little_to_compare_is_refused(signals):
    with pytest.raises(ValueError):
        judge(**signals)


def test_the_worst_is_one_that_decided():
    # 20 ms to 200 ms to become red, which may be in time; 50 ms to go off, which is not
    found = judge(
        within_ms=40,
        a=shown((0, "off"), (500, "red"), (800, "off")),
        b=shown((0, "off"), (520, 700, "red"), (850, 850, "off")),
    )

    assert found.outcome is Outcome.FAIL
    assert found.worst.begin == 800 * MS
    assert found.margin == pytest.approx((40 - 50) / 40)
