"""Journals on paper, for tests of the reports."""

from hil.core.event import (
    ActuatorSafe,
    CaseEnded,
    CaseStarted,
    CheckDecided,
    Event,
    RunEnded,
    RunStarted,
)
from hil.core.instant import Instant
from hil.report.about import About
from hil.report.result import RunResult
from hil.report.tally import fold

PLAN = "testplans/louvres.yaml"
MILLISECOND = 1_000_000

ABOUT = About(
    run="20260102T030405Z-glasshouse",
    started="2026-01-02T03:04:05Z",
    host="bench-computer",
    tool="rackproof 0.1.0",
    python="3.11.7",
    system="Linux",
    command=("hil", "run"),
    bench="glasshouse",
    interface="lo",
    stamps="kernel",
)

MISSED = (
    "vane reaches angle [vane-2, 45 deg], step 1: louvres.vane-2.position was 42.10 deg, wanted "
    "45.00 deg ± 1.50 deg (1.40 deg too low) at the deadline, 600 ms after the stimulus"
)


def started(*titles: str, plan: str = PLAN) -> RunStarted:
    return RunStarted(
        at=Instant(0),
        tool="rackproof 0.1.0",
        bench="glasshouse",
        bench_file="fixtures/glasshouse.yaml",
        bench_digest="ab" * 32,
        virtual=True,
        stamps="virtual",
        plans=(("Louvres", plan, "cd" * 32),),
        cases=tuple((plan, title) for title in titles),
    )


def begun(index: int, title: str, attempt: int = 1, plan: str = PLAN) -> CaseStarted:
    return CaseStarted(
        at=Instant(index * MILLISECOND),
        index=index,
        plan=plan,
        case=title,
        attempt=attempt,
        place=f"{plan}:{index + 3}:5",
        requirements=("LV-01",),
        tags=("nightly",),
    )


def check(index: int, outcome: str, **more: object) -> CheckDecided:
    facts: dict[str, object] = {
        "at": Instant(index * MILLISECOND),
        "index": index,
        "step": 1,
        "signal": "louvres.vane-2.position",
        "node": "louvres",
        "wanted": "45.00 deg ± 1.50 deg",
        "when": "within 600 ms",
        "outcome": outcome,
        "got": "42.10 deg",
        "elapsed": 600 * MILLISECOND,
        "change": None,
        "margin": 0.4 if outcome == "pass" else -0.933,
        "gap": 10 * MILLISECOND,
        "seen": 60,
        "text": MISSED,
        "place": f"{PLAN}:9:13",
        "last": "310a0b",
    }
    return CheckDecided(**{**facts, **more})  # type: ignore[arg-type]


def ended(
    index: int,
    title: str,
    outcome: str,
    *reasons: str,
    attempt: int = 1,
    took: int = 160 * MILLISECOND,
    plan: str = PLAN,
    blamed: tuple[str, ...] = (),
    unsure: tuple[str, ...] = (),
) -> CaseEnded:
    return CaseEnded(
        at=Instant(index * MILLISECOND + took),
        index=index,
        plan=plan,
        case=title,
        outcome=outcome,
        attempt=attempt,
        took=took,
        reasons=reasons,
        blamed=blamed,
        unsure=unsure,
    )


def over(aborted: str = "", safe: bool = True) -> list[Event]:
    at = Instant(10**9)
    return [
        ActuatorSafe(at=at, signal="louvres.vane-2.angle", value="0 deg", confirmed=safe),
        RunEnded(at=at, outcome="pass", counts={}, aborted=aborted, safe=safe),
    ]


def case(
    index: int, title: str, outcome: str, *reasons: str, took: int = 160 * MILLISECOND
) -> list[Event]:
    word = "fail" if outcome == "unstable" else outcome
    events: list[Event] = [begun(index, title)]
    if outcome in ("pass", "fail", "inconclusive", "unstable"):
        events.append(check(index, word))
    if outcome == "unstable":
        events += [ended(index, title, "fail", *reasons), begun(index, title, 2)]
        events += [check(index, "pass"), ended(index, title, "unstable", attempt=2, took=took)]
    elif outcome != "not run":
        events.append(ended(index, title, outcome, *reasons, took=took))
    return events if outcome != "not run" else []


def run(*outcomes: str, aborted: str = "", safe: bool = True, reason: str = MISSED) -> list[Event]:
    """Return a journal with one case per outcome, `case 0`, `case 1` and so on."""
    events: list[Event] = [started(*(f"case {at}" for at in range(len(outcomes))))]
    for at, outcome in enumerate(outcomes):
        reasons = () if outcome == "pass" else (reason,)
        events += case(at, f"case {at}", outcome, *reasons)
    return [*events, *over(aborted, safe)]


def result(*outcomes: str, aborted: str = "", safe: bool = True, reason: str = MISSED) -> RunResult:
    return fold(run(*outcomes, aborted=aborted, safe=safe, reason=reason))
