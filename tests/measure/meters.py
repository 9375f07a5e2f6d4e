"""Meters on paper: a scene, an expectation around a measure, samples in virtual time."""

from decimal import Decimal

from core.paper import MARK, ms
from laws import obey, run

from hil.core.driving import Driving
from hil.core.instant import Duration, Instant
from hil.core.observation import Samples
from hil.core.plan import Expectation, Timing, Unchanged
from hil.core.scene import Scene
from hil.core.signal import Kind, Sample, Signal, Validity

START = Instant(1_000_000_000)


def number(path, unit="deg", **more):
    node, name = path.split(".", 1)
    return Signal(node=node, name=name, kind=Kind.NUMBER, unit=unit, **more)


def label(path, *labels, **more):
    node, name = path.split(".", 1)
    return Signal(node=node, name=name, kind=Kind.LABEL, labels=labels, **more)


def seen(path, when, value, since=None, validity=Validity.VALID, **more):
    """Return (instant, Samples) of one sample, `when` ms after the stimulus."""
    at = Instant(START + ms(when))
    begin = at if since is None else Instant(START + ms(since))
    carried = value if value is None or str(value).isalpha() else Decimal(str(value))
    sample = Sample(path, carried, validity, begin, at)
    return at, Samples(path.split(".")[0], [sample], **more)


def scene(signals, before=()):
    """Make a scene in which `before` was seen last."""
    table = {signal.path: signal for signal in signals}
    made = Scene(signals=table, driving=Driving(table, Instant(0)), origin=Instant(0))
    for _, samples in before:
        made.latest.take(samples)
    return made


def expecting(measure, *paths, wanted="what was wanted"):
    return Expectation(
        signals=paths,
        condition=Unchanged(),
        timing=Timing(within=Duration(1)),
        wanted=wanted,
        when="in time",
        mark=MARK,
        measure=measure,
    )


def finding(measure, signals, things, before=(), *, until=10_000, paths=()):
    """Play things to the one meter of a measure, by the laws; return how it ended."""
    expectation = expecting(measure, *(paths or [signal.path for signal in signals]))

    def make():
        (meter,) = measure.begin(scene(signals, before), expectation, START)
        meter.stimulated(START)
        return meter

    end = START + ms(until)
    obey(make, things, end, lambda meter: meter.finding)
    meter = make()
    run(meter, things, end)
    assert meter.finding is not None
    return meter.finding
