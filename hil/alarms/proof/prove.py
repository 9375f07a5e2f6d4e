"""All properties of a spec, as ordinary cases: one for every edge and property.

    of each alarm     trip point, reset point, counts around the edge, on-delay, off-delay,
                      chatter, latch: those that the spec gives it
    of the spec       every alarm, transitions, agreement, each kind of fault, start-up hold,
                      restart of the sensor

What the bench offers no way to provoke is a case too, skipped, so that nobody takes it for proven.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial

from hil.alarms.edge import Edge, edges
from hil.alarms.means import PROVOKED, RESTART, SENSOR_RESTART, Way
from hil.alarms.proof.agreement import AgreementProof
from hil.alarms.proof.around import AroundProof
from hil.alarms.proof.chatter import ChatterProof
from hil.alarms.proof.delay import DelayProof
from hil.alarms.proof.fault import FaultProof, SensorRestartProof, not_judged
from hil.alarms.proof.latch import LatchProof
from hil.alarms.proof.passage import EveryAlarm, Transitions
from hil.alarms.proof.point import RESET, TRIP, PointProof
from hil.alarms.proof.proof import Place, Proof
from hil.alarms.proof.start import StartProof
from hil.alarms.proof.station import driven_signals, watched
from hil.alarms.proof.talk import Talk
from hil.alarms.spec import Spec
from hil.core.error import Mark
from hil.core.instant import ZERO, Instant
from hil.core.plan import Case, Step
from hil.core.scene import Scene
from hil.core.signal import Signal

REPEATS = 3
"""How often a point is searched and a delay measured, unless somebody asks for more."""

TAG = "alarms"

Make = Callable[[Scene, Place], Proof]


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofJob:
    """One property, as a job of a step; `skip` is why it cannot be judged here, or empty."""

    spec: Spec
    alarm: str
    word: str
    make: Make
    reboots: tuple[str, ...] = ()
    skip: str = ""

    @property
    def drives(self) -> tuple[str, ...]:
        return driven_signals(self.spec)

    @property
    def watches(self) -> tuple[str, ...]:
        return watched(self.spec)

    @property
    def title(self) -> str:
        subject = f"{self.spec.name}, {self.alarm}" if self.alarm else self.spec.name
        return f"{subject}: {self.word}"

    @property
    def mark(self) -> Mark:
        spec = self.spec
        return spec.bands[spec.place(self.alarm)].mark if self.alarm else spec.mark

    def begin(self, scene: Scene, where: str, index: int, step: int, start: Instant) -> Talk:
        """Set it to work."""
        place = Place(where=where, index=index, step=step)
        return Talk(scene, self.make(scene, place), start)


def proof_jobs(
    spec: Spec, signals: Mapping[str, Signal], repeats: int = REPEATS
) -> tuple[ProofJob, ...]:
    """Return every property of a spec that passed the reader, in the order of the table above."""
    found = [job for edge in edges(spec) for job in _of_edge(spec, edge, repeats)]
    found += [
        ProofJob(spec=spec, alarm="", word=one.word, make=partial(one, spec))
        for one in (EveryAlarm, Transitions, AgreementProof)
    ]
    found += [_of_way(spec, what) for what in PROVOKED]
    restart = spec.means.way(RESTART) if spec.means is not None else None
    if restart is None:
        return tuple(found)
    node = signals[restart.signal].node
    return tuple(replace(job, reboots=tuple({node, *job.reboots})) for job in found)


def proof_case(job: ProofJob, plan: str) -> Case:
    """Return the case of one property."""
    band = job.spec.bands[job.spec.place(job.alarm)] if job.alarm else None
    own = band.requirements if band is not None else ()
    step = Step(stimuli=(), expectations=(), wait=ZERO, mark=job.mark, job=job)
    return Case(
        plan=plan,
        title=job.title,
        variation="",
        requirements=tuple(dict.fromkeys((*job.spec.requirements, *own))),
        tags=(TAG,),
        precondition=(),
        steps=(step,),
        restore=True,
        reboots=job.reboots,
        skip=job.skip,
        mark=job.mark,
    )


def _of_edge(spec: Spec, edge: Edge, repeats: int) -> Iterator[ProofJob]:
    def job(word: str, make: Make) -> ProofJob:
        return ProofJob(spec=spec, alarm=edge.alarm, word=word, make=make)

    for point in (TRIP, RESET):
        make = partial(PointProof, spec, edge=edge, point=point, repeats=repeats)
        yield job(f"{point} point", make)
    yield job(AroundProof.word, partial(AroundProof, spec, edge=edge))
    for word, delay in (("on-delay", edge.on_delay), ("off-delay", edge.off_delay)):
        if delay is not None and delay.length > 0:
            made = job(word, partial(DelayProof, spec, edge=edge, delay=delay, repeats=repeats))
            hidden = word == "off-delay" and edge.latched
            yield replace(made, skip="its latch hides when it clears" if hidden else "")
    if edge.dead_band > 0:
        yield job(ChatterProof.word, partial(ChatterProof, spec, edge=edge))
    if edge.latched:
        yield job(LatchProof.word, partial(LatchProof, spec, edge=edge))


def _of_way(spec: Spec, what: str) -> ProofJob:
    """Return what is provoked through one way; skipped, with the reason, where there is none."""
    words = {RESTART: StartProof.word, SENSOR_RESTART: SENSOR_RESTART}
    word = words.get(what, f"fault: {what}")
    proofs: dict[str, Callable[..., Proof]] = {
        RESTART: StartProof,
        SENSOR_RESTART: SensorRestartProof,
    }
    way = spec.means.way(what) if spec.means is not None else None
    skip = not_judged(spec, what)
    if way is None:
        skip = "not provoked: no way declared"
        way = Way(what=what, signal=spec.signal, value="")
    make: Make = partial(proofs.get(what, FaultProof), spec, way=way)
    reboots = (_node_of(way),) if what in proofs and not skip else ()
    return ProofJob(
        spec=spec,
        alarm="",
        word=word,
        make=make,
        reboots=reboots,
        skip=skip,
    )


def _node_of(way: Way) -> str:
    """Return the node that a way acts on."""
    return way.signal.split(".", 1)[0]
