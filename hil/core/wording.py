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
    said = finding.said or saying(expectation, signal, finding, before)
    if where.endswith(PRECONDITION):  # it has no stimulus
        said = said.replace("after the stimulus", "after the case began")
    parts = [f"{where}: {signal.path} {said}"]
    if finding.outcome is not Outcome.PASS and finding.crossings and finding.why != "early":
        parts.append(_crossings(finding))
    parts += [part for part in (excuse, hint) if part]
    return "; ".join(parts)


def saying(
    expectation: Expectation, signal: Signal, finding: Finding, before: Sample | None
) -> str:
    """Say how a watched value ended: what follows the name of the signal."""
    return _SAYINGS[finding.why](expectation, signal, finding, before)


def _wanted(expectation: Expectation, before: Sample | None, signal: Signal) -> str:
    if isinstance(expectation.condition, Unchanged):
        return f"wanted {expectation.wanted} ({show_got(before, signal)} before)"
    return f"wanted {expectation.wanted}"


def _asked(e: Expectation, b: Sample | None, s: Signal) -> str:
    """Say what was wanted, and when."""
    return f"wanted {_terms(e, _wanted(e, b, s).removeprefix('wanted '))}"


def _terms(e: Expectation, wanted: str) -> str:
    never = e.timing.never
    return f"{wanted} {e.when}" if never is None else f"never {wanted} for {show_duration(never)}"


def _thing(sample: Sample | None, signal: Signal) -> str:
    shown = show_got(sample, signal)
    return f"a {shown}" if sample is not None and sample.validity is Validity.INVALID else shown


def _was(sample: Sample | None, signal: Signal) -> str:
    """Say what a sample showed, with its verb."""
    told = sample is not None and sample.validity is not Validity.INVALID
    return f"{'was' if told else 'reported'} {_thing(sample, signal)}"


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
        return f"was {_terms(e, e.wanted)}"
    return f"{_was(f.decided, s)}, {_wanted(e, b, s)}, {_time(f.elapsed)}"


def _missed(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    deadline = e.timing.within
    return (
        f"{_was(f.decided, s)}, {_wanted(e, b, s)}{_miss(e, s, f, b)} at the deadline, "
        f"{_time(deadline)}"
    )


def _silent(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    last = f"; before that it {_was(b, s)}" if b is not None else ""
    return f"said nothing after the stimulus, {_asked(e, b, s)}{last}"


def _late(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    limit = e.timing.within or Duration(0)
    began = f.change[0] if f.change else Duration(0)
    return (
        f"{_was(f.decided, s)} only {_time(began)}, {_asked(e, b, s)} "
        f"({show_duration(Duration(began - limit))} too late)"
    )


def _early(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    limit = show_duration(e.timing.not_before or Duration(0))
    return f"{_was(f.decided, s)} already {_time(f.elapsed)}, not wanted before {limit}"


def _left(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    when = f", {_time(f.elapsed)}" if f.elapsed is not None else ""
    return f"{_was(f.decided, s)}, {_asked(e, b, s)}{_miss(e, s, f, b)}{when}"


def _seen(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    return f"{_was(f.decided, s)}, {_asked(e, b, s)}, {_time(f.elapsed)}"


def _gap(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    looks = f"looked at only every {show_duration(s.sampling)}" if s.sampling else "not looked at"
    if f.change is None:
        return f"cannot be judged: {_asked(e, b, s)}, but it is {looks} and a look fell across"
    first, last = (show_duration(part) for part in f.change)
    return (
        f"changed to {_thing(f.decided, s)} somewhere between {first} and {last} after the "
        f"stimulus, {_asked(e, b, s)}: the limit lies in between, it is {looks}"
    )


def _stale(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    age = f" for {show_duration(s.stale_after)}" if s.stale_after else ""
    return f"was not reported{age}, so nobody can tell, {_asked(e, b, s)}"


def _unseen(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    return f"was never seen in the window, {_asked(e, b, s)}"


def _warming(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    note = f.decided.note if f.decided is not None and f.decided.note else "not ready"
    return f"gave no value that counts ({note}), {_asked(e, b, s)}"


def _unlooked(e: Expectation, s: Signal, f: Finding, b: Sample | None) -> str:
    return (
        f"was not looked at in time, {_asked(e, b, s)}: {_time(f.elapsed)}, at the first "
        f"look, it {_was(f.decided, s)}"
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
    """Say from when to when a value was as wanted; the last time may have no end that was kept."""
    spans: list[str] = []
    for at, entered in finding.crossings:
        if entered:
            spans.append(f"from {show_duration(at)}")
        else:
            spans[-1] += f" to {show_duration(at)}"
    return f"it was as wanted {', '.join(spans)}"
