"""Proofs against software nodes in virtual time, without files of evidence."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from hil.alarms.proof.prove import ProofJob, proof_case, proof_jobs
from hil.alarms.spec import Spec
from hil.bench.loop import drive
from hil.bench.virtual import VirtualBench
from hil.core.engine import Run
from hil.core.event import AlarmCoverage, AlarmPoint, AlarmProperty, CaseEnded, Event
from hil.core.instant import Instant
from hil.core.observation import Abort
from hil.files.read import read_alarms, read_rack
from hil.nodes.rack import SoftwareRack
from hil.wire.link import Links
from hil.wire.rack import Envelope, Rack

FIXTURES = Path(__file__).parents[3] / "fixtures"
GAUGE = FIXTURES / "alarm-gauge.yaml"
GAUGE_ALARMS = FIXTURES / "alarm-gauge-alarms.yaml"


@cache
def gauge_rack() -> Rack:
    return read_rack(GAUGE)


@cache
def gauge_spec() -> Spec:
    (spec,) = read_alarms(GAUGE_ALARMS, gauge_rack())
    return spec


def with_settings(rack: Rack, settings: Mapping[str, str]) -> Rack:
    assert rack.software is not None
    written = {**rack.software.settings, **settings}
    return replace(rack, software=replace(rack.software, settings=written))


class Mortal:
    """Software nodes that stop answering and speaking after so many datagrams came in."""

    def __init__(self, nodes: SoftwareRack, dies_after: int) -> None:
        self._nodes, self._left = nodes, dies_after

    def receive(self, thing: Envelope, now: Instant) -> None:
        self._left -= 1
        self._nodes.receive(thing, now)

    def tick(self, now: Instant) -> None:
        self._nodes.tick(now)

    def next_wakeup(self) -> Instant | None:
        return self._nodes.next_wakeup()

    def take_sends(self) -> tuple[Envelope, ...]:
        sends = self._nodes.take_sends()
        return sends if self._left > 0 else ()


@dataclass
class Proven:
    """A finished proof and everything that was journalled."""

    run: Run
    events: list[Event]

    def of(self, kind: type) -> list:
        return [event for event in self.events if isinstance(event, kind)]

    @property
    def ended(self) -> dict[str, CaseEnded]:
        return {event.case: event for event in self.of(CaseEnded)}

    @property
    def outcomes(self) -> dict[str, str]:
        return {event.case: event.outcome for event in self.of(CaseEnded)}

    def titles(self, outcome: str) -> set[str]:
        return {title for title, one in self.outcomes.items() if one == outcome}

    @property
    def points(self) -> list[AlarmPoint]:
        return self.of(AlarmPoint)

    @property
    def properties(self) -> dict[str, AlarmProperty]:
        return {f"{one.alarm} {one.property}".strip(): one for one in self.of(AlarmProperty)}

    @property
    def coverage(self) -> dict[str, AlarmCoverage]:
        return {one.what: one for one in self.of(AlarmCoverage)}

    def told(self) -> str:
        return "\n".join(reason for one in self.of(CaseEnded) for reason in one.reasons)


def prove(
    spec: Spec,
    rack: Rack,
    only: Callable[[ProofJob], bool] = lambda job: True,
    *,
    repeats: int = 3,
    dies_after: int | None = None,
    abort_at: int | None = None,
) -> Proven:
    """Prove what `only` chooses; a dying node is silent after so many datagrams."""
    signals = rack.signals()
    jobs = [job for job in proof_jobs(spec, signals, repeats) if only(job)]
    cases = [proof_case(job, "proof") for job in jobs]
    return play(cases, rack, dies_after=dies_after, abort_at=abort_at)


def play(
    cases: Sequence, rack: Rack, *, dies_after: int | None = None, abort_at: int | None = None
) -> Proven:
    """Run cases on the rack's software."""
    start = Instant(0)
    nodes = SoftwareRack(rack, start)
    aborts = [] if abort_at is None else [abort_at]

    def abort(now: Instant) -> Abort | None:
        if aborts and now >= aborts[0]:
            aborts.clear()
            return Abort(reason="ended by SIGTERM", at=now, patience=1_000_000_000)
        return None

    ground = nodes if dies_after is None else Mortal(nodes, dies_after)
    bench = VirtualBench(rack, ground, start=start, abort=abort)
    run = Run(signals=rack.signals(), cases=cases, start=start)
    events: list[Event] = []
    drive(run, Links(rack, start), bench, events.append, origin=start)
    return Proven(run, events)


def titled(*words: str) -> Callable[[ProofJob], bool]:
    """Choose properties whose title contains any of these texts."""
    return lambda job: any(word in job.title for word in words)
