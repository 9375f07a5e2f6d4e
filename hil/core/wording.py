"""The sentences of a verdict: where, got, wanted, by how much, when.

vane reaches its angle [vane-2, 45 deg], step 1: louvres.vane-2.position was 42.10 deg,
wanted 45.00 deg ± 1.50 deg (1.40 deg too low) at the deadline, 600 ms after the stimulus
"""

from hil.core.condition import how_far_off, resolve, show_got
from hil.core.expectation import Finding
from hil.core.instant import Duration, show_duration
from hil.core.plan import Expectation, Unchanged
from hil.core.signal import Sample, Signal, Validity
from hil.core.verdict import Outcome

PRECONDITION = ", precondition"


def place(case: str, step: int) -> str:
    """Return where in a case something happened; step 0 is the precondition."""
    return f"{case}{PRECONDITION if step == 0 else f', step {step}'}"


def sentence(
    where: str,
    expectation: Expectation,
    signal: Signal,
    finding: Finding,
    before: Sample | None,
    excuse: str = "",
    hint: str = "",
) -> str:
    """Say how an expectation ended, in one sentence without a full stop.

    `excuse` says why the bench could not tell; `hint` what a wrong value looks like.
    """
    said = _SAYINGS[finding.why](expectation, signal, finding, before)
    if where.endswith(PRECONDITION):  # it has no stimulus
        said = said.replace("after the stimulus", "after the case began")
    parts = [f"{where}: {signal.path} {said}"]
    if finding.outcome is not Outcome.PASS and finding.crossings and finding.why != "early":
        parts.append(_crossings(finding))
    parts += [part for part in (excuse, hint) if part]
    return "; ".join(parts)


def _wanted(expectation: Expectation, before: Sample | None, signal: Signal) -> str:
    if isinstance(expectation.condition, Unchanged):
        return f"wanted {expectation.wanted} ({show_got(before, signal)} before)"
    return f"wanted {expectation.wanted}"


def _miss(expectation: Expectation, signal: Signal, finding: Finding, before: Sample | None) -> str:
    if finding.decided is None or finding.decided.validity is not Validity.VALID:
        return ""
    try:
        baseline = None if before is None else before.value
        off = how_far_off(resolve(expectation.condition, baseline), finding.decided, signal)
    except ValueError:
        return ""
    return f" ({off})" if off else ""


def _time(length: Duration | None) -> str:
    return "" if length is None else f"{show_duration(length)} after the stimulus"


def _reached(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    if f.elapsed is None:
        return f"was {e.wanted} {e.when}" if not e.timing.never else f"stayed right {e.when}"
    return f"was {show_got(f.decided, s)}, {_wanted(e, b, s)}, {_time(f.elapsed)}"


def _missed(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    deadline = e.timing.within
    return (
        f"was {show_got(f.decided, s)}, {_wanted(e, b, s)}{_miss(e, s, f, b)} at the deadline, "
        f"{_time(deadline)}"
    )


def _silent(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    last = f"; the last before it was {show_got(b, s)}" if b is not None else ""
    return f"said nothing after the stimulus, {_wanted(e, b, s)} {e.when}{last}"


def _late(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    limit = e.timing.within or Duration(0)
    began = f.change[0] if f.change else Duration(0)
    return (
        f"was {show_got(f.decided, s)} only {_time(began)}, {_wanted(e, b, s)} {e.when} "
        f"({show_duration(Duration(began - limit))} too late)"
    )


def _early(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    limit = show_duration(e.timing.not_before or Duration(0))
    return f"was {show_got(f.decided, s)} already {_time(f.elapsed)}, not wanted before {limit}"


def _left(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    when = f", {_time(f.elapsed)}" if f.elapsed is not None else ""
    return f"was {show_got(f.decided, s)}, {_wanted(e, b, s)} {e.when}{_miss(e, s, f, b)}{when}"


def _seen(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    return f"was {show_got(f.decided, s)}, {e.wanted} {e.when} was wanted, {_time(f.elapsed)}"


def _gap(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    looks = f"looked at only every {show_duration(s.sampling)}" if s.sampling else "not looked at"
    if f.change is None:
        return f"cannot be judged: {_wanted(e, b, s)} {e.when}, but it is {looks} and a look fell across"
    first, last = (show_duration(part) for part in f.change)
    return (
        f"changed to {show_got(f.decided, s)} somewhere between {first} and {last} after the "
        f"stimulus, {_wanted(e, b, s)} {e.when}: the limit lies in between, it is {looks}"
    )


def _stale(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    age = f" for {show_duration(s.stale_after)}" if s.stale_after else ""
    return f"was not reported{age}, so nobody can say whether it was {e.wanted} {e.when}"


def _unseen(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    return f"was never seen in the window, {_wanted(e, b, s)} {e.when}"


def _warming(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    note = f.decided.note if f.decided is not None and f.decided.note else "not ready"
    return f"gave no value that counts ({note}), {_wanted(e, b, s)} {e.when}"


def _unlooked(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    return (
        f"was not looked at in time, {_wanted(e, b, s)} {e.when}: {_time(f.elapsed)}, at the first "
        f"look, it was {show_got(f.decided, s)}"
    )


def _no_baseline(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    return "has no value from before the stimulus to compare with"


_SAYINGS = {
    "reached": _reached,
    "missed": _missed,
    "silent": _silent,
    "late": _late,
    "early": _early,
    "left": _left,
    "seen": _seen,
    "gap": _gap,
    "stale": _stale,
    "unseen": _unseen,
    "unlooked": _unlooked,
    "warming": _warming,
    "no baseline": _no_baseline,
}


def _crossings(finding: Finding) -> str:
    told = [
        f"{'entered' if entered else 'left'} at {show_duration(at)}"
        for at, entered in finding.crossings
    ]
    return "it " + ", ".join(told)
