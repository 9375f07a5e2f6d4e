"""The alarm specs of a run, as events: the reports need their bands, and have the journal only."""

from collections.abc import Iterator, Sequence

from hil.alarms.edge import edges
from hil.alarms.palette import rgb_of
from hil.alarms.proof.point import RESET, TRIP
from hil.alarms.proof.prove import ProofJob
from hil.alarms.proof.series import SeriesJob
from hil.alarms.spec import Band, Spec
from hil.core.event import AlarmSpec
from hil.core.instant import Instant
from hil.core.plan import Case
from hil.core.signal import show_number

_POINTS = (TRIP, RESET)
Searched = tuple[int, str, str]


def told_specs(cases: Sequence[Case]) -> tuple[AlarmSpec, ...]:
    """Return an event for each spec that the cases prove, in the order of the cases."""
    found: dict[str, tuple[Spec, list[Searched]]] = {}
    for index, case in enumerate(cases):
        for job in _jobs(case):
            key = f"{job.spec.mark} {job.spec.name}"
            _, searched = found.setdefault(key, (job.spec, []))
            for point in _POINTS:
                if job.word == f"{point} point" and not (case.skip or job.skip):
                    searched.append((index, job.alarm, point))
    return tuple(_told(spec, tuple(searched)) for spec, searched in found.values())


def _jobs(case: Case) -> Iterator[ProofJob]:
    for step in case.steps:
        if isinstance(step.job, ProofJob):
            yield step.job
        elif isinstance(step.job, SeriesJob):
            yield from step.job.jobs


def _told(spec: Spec, searched: tuple[Searched, ...]) -> AlarmSpec:
    points = []
    for edge in edges(spec):
        for point, level in ((TRIP, edge.trip), (RESET, edge.reset)):
            way = "rising" if edge.rising is (point == TRIP) else "falling"
            points.append((edge.alarm, point, way, show_number(level)))
    return AlarmSpec(
        at=Instant(0),
        spec=spec.name,
        signal=spec.signal,
        unit=spec.unit,
        low=show_number(spec.low),
        high=show_number(spec.high),
        normal=spec.normal,
        bands=tuple(_band(spec, band) for band in spec.bands),
        points=tuple(points),
        searched=searched,
        tolerance=show_number(spec.tolerance.level),
        rule=spec.tolerance.rule.value,
        place=str(spec.mark),
        requirements=spec.requirements,
    )


def _band(spec: Spec, band: Band) -> tuple[str, str, str, str, str, str]:
    rgb = rgb_of(spec, band.colour)
    low = show_number(spec.low if band.low is None else band.low)
    high = show_number(spec.high if band.high is None else band.high)
    limits = []
    if band.low is not None:
        limits.append(f"{'at or above' if band.low_included else 'above'} {low} {spec.unit}")
    if band.high is not None:
        limits.append(f"{'at or below' if band.high_included else 'below'} {high} {spec.unit}")
    colour = "" if rgb is None else "#" + "".join(f"{part:02x}" for part in rgb)
    return band.name, band.colour, colour, low, high, ", ".join(limits) or "the whole range"
