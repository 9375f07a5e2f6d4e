"""The sentences of a verdict read as one would say them."""

import pytest
from core.paper import at, expect, limits, ms, number, sample

from hil.core.instant import Instant
from hil.core.plan import Invalid
from hil.core.reach import Reach
from hil.core.signal import Validity
from hil.core.throughout import Throughout
from hil.core.wording import sentence

ANGLE = number("louvres.vane-1.position")
AT_LEAST_TEN = limits("10", None)


def fault(when):
    found = sample(when, None)
    found.note = "sentinel 0x7fff"
    return found


def said(kind, samples, before=None, signal=ANGLE, condition=AT_LEAST_TEN, **timing):
    """Return the sentence about a signal that was to be at least 10."""
    expectation = expect(condition, signal.path, **timing)
    object.__setattr__(expectation, "wanted", "at least 10 deg")
    object.__setattr__(expectation, "when", "never within 500 ms" if "never" in timing else "within 500 ms")  # fmt: skip
    watch = kind(expectation, signal, Instant(0), before)
    for each in samples:
        watch.receive(each, each.at)
    watch.tick(at(10_000))
    assert watch.finding is not None
    return sentence("a case, step 1", expectation, signal, watch.finding, before)


NEVER = {"never": ms(500)}
WITHIN = {"within": ms(500)}


@pytest.mark.parametrize(
    ("kind", "samples", "timing", "expected"),
    [
        (Throughout, [sample(300, "12")], NEVER, "was 12 bar, wanted never at least 10 deg for 500 ms, 300 ms after the stimulus"),
        (Throughout, [], NEVER, "was never seen in the window, wanted never at least 10 deg for 500 ms"),
        (Throughout, [sample(1, "1")], NEVER, "was never at least 10 deg for 500 ms"),
        (Throughout, [sample(1, "1"), sample(2, "stale")], NEVER, "was not reported, so nobody can tell, wanted never at least 10 deg for 500 ms"),
        (Reach, [fault(3)], WITHIN, "reported a sensor fault (sentinel 0x7fff), wanted at least 10 deg at the deadline, 500 ms after the stimulus"),
        (Reach, [sample(3, "1")], WITHIN, "was 1 bar, wanted at least 10 deg (9 bar too low) at the deadline, 500 ms after the stimulus"),
        (Reach, [], WITHIN, "said nothing after the stimulus, wanted at least 10 deg within 500 ms"),
    ],
)  # fmt: skip
def test_a_sentence_says_what_was_and_what_was_wanted(kind, samples, timing, expected):
    assert said(kind, samples, **timing) == f"a case, step 1: {ANGLE.path} {expected}"


def test_a_signal_that_fell_silent_is_told_with_its_last_word():
    before = fault(-5)

    assert said(Reach, [], before, **WITHIN).endswith(
        "within 500 ms; before that it reported a sensor fault (sentinel 0x7fff)"
    )
    assert before.validity is Validity.INVALID


def test_a_change_to_a_fault_has_its_article():
    polled = number(ANGLE.path, sampling=ms(50))
    seen = [sample(20, "12", since=10), fault(100)]
    wanted = {"condition": Invalid(), "within": ms(500), "not_before": ms(50)}

    assert "changed to a sensor fault (sentinel 0x7fff) somewhere between 10 ms and 100 ms" in said(
        Reach, seen, signal=polled, **wanted
    )


@pytest.mark.parametrize(
    ("seen", "told"),
    [
        ([(10, "12"), (30, "1")], "it was as wanted from 10 ms to 30 ms"),
        ([(10, "12"), (30, "1"), (480, "12"), (490, "1")], "it was as wanted from 10 ms to 30 ms, from 480 ms to 490 ms"),
    ],
)  # fmt: skip
def test_what_did_not_hold_is_told_from_when_to_when(seen, told):
    samples = [sample(when, value) for when, value in seen]

    assert told in said(Reach, samples, hold=ms(2000), **WITHIN).split("; ")
