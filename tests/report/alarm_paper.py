"""An alarm spec and its points on paper, for tests of the reports."""

from dataclasses import replace

from hil.core.event import AlarmPoint, AlarmSpec
from hil.core.instant import Instant

SPEC = AlarmSpec(
    at=Instant(0),
    spec="Feed pressure",
    signal="feedline.pressure",
    unit="bar",
    low="0",
    high="10",
    normal="normal",
    bands=(
        ("normal", "green", "#00ff00", "0", "3.60", "below 3.60 bar"),
        ("high", "amber", "#ffbf00", "3.60", "4.50", "at or above 3.60 bar, below 4.50 bar"),
        ("over", "red", "#ff0000", "4.50", "10", "at or above 4.50 bar"),
    ),
    points=(
        ("high", "trip", "rising", "3.60"),
        ("high", "reset", "falling", "3.45"),
        ("over", "trip", "rising", "4.50"),
        ("over", "reset", "falling", "4.35"),
    ),
    searched=((0, "high", "trip"), (1, "high", "reset")),
    tolerance="0.02",
    rule="guarded",
    place="fixtures/alarms.yaml:5:3",
    requirements=("AL-1",),
)

TRIP = AlarmPoint(
    at=Instant(7),
    index=0,
    step=1,
    spec="Feed pressure",
    signal="feedline.pressure",
    alarm="high",
    point="trip",
    way="rising",
    wanted="3.60",
    low="3.65",
    high="3.66",
    mean="3.655",
    spread="0",
    repeats=3,
    probes=6,
    odd=("3.61 bar", "3.64 bar"),
    uncertainty="0.0057735",
    rule="guarded",
    difference="0.06",
    unit="bar",
    outcome="fail",
    text='trips rising, "late": between 3.65 and 3.66 bar',
    place="fixtures/alarms.yaml:9:7",
    requirements=("AL-1", "AL-2"),
)

RESET = replace(
    TRIP,
    index=1,
    point="reset",
    way="falling",
    wanted="3.45",
    low="3.45",
    high="3.46",
    mean="3.455",
    difference="0",
    odd=(),
    outcome="pass",
    text="clears falling between 3.45 and 3.46 bar",
)
