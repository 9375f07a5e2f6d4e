"""An alarm spec as its author states it: one input signal, its bands, and who shows them.

          low             trip of `amber`        trip of `red`            high
           |    green (normal)   |      amber         |        red         |
    -------+---------------------+--------------------+--------------------+---> signal
                        ^ reset of amber     ^ reset of red

One band is the normal one.  Every other band is an alarm whose trip point is its edge towards the
normal band; the farther from normal, the more severe.  The dead band lies on the way back only.
Everything that practice does differently from product to product is stated, never assumed: who
owns an edge, whether a value exactly at the reset point clears, what interrupts a delay, what a
sensor fault leaves behind.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import Enum

from hil.alarms.indicator import Displayed, Indicator, Rgb
from hil.alarms.means import Means
from hil.core.error import Mark
from hil.core.instant import Duration
from hil.core.signal import Value

FAULT = "fault"
STALE = "stale"
SILENT = "silent"
START_UP = "start-up"
SPECIAL = (FAULT, STALE, SILENT, START_UP)
"""What is shown instead of a band; no band may have one of these names."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Width:
    """A dead band given as a width: the alarm clears `amount` inside its trip point.

    `level_clears` says whether a value exactly at the reset point clears already.
    """

    amount: Decimal
    level_clears: bool
    mark: Mark


@dataclass(frozen=True, slots=True, kw_only=True)
class ClearsAt:
    """A dead band given by the level at which the alarm clears."""

    level: Decimal
    level_clears: bool
    mark: Mark


DeadBand = Width | ClearsAt


class Counting(Enum):
    """How the time towards a delay is counted.

    UNBROKEN     an interruption starts it afresh
    ACCUMULATED  an interruption only pauses it
    """

    UNBROKEN = "unbroken"
    ACCUMULATED = "accumulated"


@dataclass(frozen=True, slots=True, kw_only=True)
class Delay:
    """How long a value must be beyond the trip point (on) or the reset point (off) to count.

    `dead_band_counts` says whether a dip into the dead band counts as still beyond.
    `forget_after` belongs to accumulated time: after so long without interruption on the other
    side the sum is forgotten; None means that only a change of the alarm itself clears it.
    """

    length: Duration
    counting: Counting
    dead_band_counts: bool
    mark: Mark
    forget_after: Duration | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """One band as written; None as `low` or `high` means the end of the signal's range.

    `low_included` and `high_included` say whether the band owns its edges.  `dead_band`, the
    delays and `latched` belong to the band's trip point; the normal band has none of them.
    `reported_by` names a signal by which the node tells the trip point it works with.
    """

    name: str
    colour: str
    low: Decimal | None
    high: Decimal | None
    low_included: bool
    high_included: bool
    mark: Mark
    dead_band: DeadBand | None = None
    on_delay: Delay | None = None
    off_delay: Delay | None = None
    latched: bool = False
    reported_by: str = ""
    requirements: tuple[str, ...] = ()


class AfterFault(Enum):
    """What a sensor fault, a stale value or silence leaves behind when readings come back.

    KEPT    the alarms that stood before still stand until the value decides otherwise
    AFRESH  the logic begins as after a start (without the start-up hold); latches stay
    """

    KEPT = "kept"
    AFRESH = "afresh"


@dataclass(frozen=True, slots=True, kw_only=True)
class NoReading:
    """What is shown without a reading, by colour name, and when a reading counts as gone.

    A value older than `stale_after` is stale; a node unheard for longer than `silent_after` is
    silent (None: never).  Both ages are inclusive: a value of exactly that age still counts.
    """

    fault_colour: str
    stale_colour: str
    silent_colour: str
    stale_after: Duration | None
    silent_after: Duration | None
    after: AfterFault
    mark: Mark


@dataclass(frozen=True, slots=True, kw_only=True)
class StartUp:
    """For `hold` after a start nothing is judged and `colour` is shown.

    The value in force at the end of the hold is judged then; delays begin to run there.
    Until the first sample the same colour is shown.
    """

    colour: str
    hold: Duration
    mark: Mark


@dataclass(frozen=True, slots=True, kw_only=True)
class Latch:
    """How latched alarms are acknowledged: `signal` turns to `label`.

    `while_active` says whether an alarm may be acknowledged while it still stands; if not, such
    an acknowledgement is ignored.  `survives_restart` says whether a latch outlives a reboot of
    the deciding node.
    """

    signal: str
    label: str
    while_active: bool
    survives_restart: bool
    mark: Mark


class Rule(Enum):
    """How a measured value is judged with its uncertainty (JCGM 106:2012, ILAC-G8:09/2019).

    SIMPLE   inside the limits passes, outside fails; the uncertainty is only reported
    GUARDED  the limits are moved by the guard band; between both nothing is said
    SHARED   simple acceptance, but only where the uncertainty is small enough for the tolerance
    """

    SIMPLE = "simple"
    GUARDED = "guarded"
    SHARED = "shared-risk"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """How far a trip point or delay may be off, and how that is decided.

    `level` is ± in the signal's unit, `time` ± around a delay; the guard band is `guard` × U.
    """

    level: Decimal
    time: Duration
    rule: Rule
    mark: Mark
    guard: Decimal = Decimal(1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Acceptance:
    """A finding of the review that the author accepts, and why; `where` narrows it to a band."""

    code: str
    reason: str
    mark: Mark
    where: str = ""


class Meaning(Enum):
    """What a colour says about the process, in the words of IEC 60073 and IEC 60204-1."""

    DANGER = "emergency or danger"
    ABNORMAL = "abnormal, a warning"
    NORMAL = "normal, safe"
    MANDATORY = "a required action"
    NEUTRAL = "no meaning of its own"


@dataclass(frozen=True, slots=True, kw_only=True)
class Paint:
    """What a colour name is in this spec, where it differs from the usual palette."""

    name: str
    rgb: Rgb
    mark: Mark
    meaning: Meaning | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Spec:
    """One alarm spec; `low` and `high` are the declared range of the input, both included.

    `bands` stand from low to high.  `display` is how the value is shown, if it is; with
    `displayed_decides` the bands apply to the value as shown, otherwise to the value as measured.
    All indicators must show a new state within `agreement`.  `quantity` is flow, level, pressure,
    temperature, or empty.  The spec holds while the signals of `given` have these values.
    """

    name: str
    signal: str
    unit: str
    low: Decimal
    high: Decimal
    bands: tuple[Band, ...]
    normal: str
    displayed_decides: bool
    no_reading: NoReading
    start_up: StartUp
    indicators: tuple[Indicator, ...]
    agreement: Duration
    tolerance: Tolerance
    mark: Mark
    display: Displayed | None = None
    latch: Latch | None = None
    quantity: str = ""
    requirements: tuple[str, ...] = ()
    accepted: tuple[Acceptance, ...] = ()
    palette: tuple[Paint, ...] = ()
    given: tuple[tuple[str, Value], ...] = ()
    means: Means | None = None

    def __post_init__(self) -> None:
        names = [band.name for band in self.bands]
        if self.normal not in names:
            raise ValueError(f"the normal band {self.normal!r} is not one of the bands")
        if len(set(names)) < len(names) or set(names) & set(SPECIAL):
            raise ValueError("every band needs a name of its own, and none that is reserved")
        if self.low >= self.high:
            raise ValueError("the range of the signal has no width")
        if self.displayed_decides and self.display is None:
            raise ValueError("the displayed value decides, but how it is displayed is not stated")

    def place(self, name: str) -> int:
        """Return where a band stands among the bands, counted from the low end."""
        return next(place for place, band in enumerate(self.bands) if band.name == name)

    def severity(self, name: str) -> int:
        """Return how many bands away from normal a band is; 0 is normal."""
        return abs(self.place(name) - self.place(self.normal))

    def colour(self, look: str) -> str:
        """Return the colour name of a band or of one of the special looks."""
        special = {
            FAULT: self.no_reading.fault_colour,
            STALE: self.no_reading.stale_colour,
            SILENT: self.no_reading.silent_colour,
            START_UP: self.start_up.colour,
        }
        return special.get(look) or self.bands[self.place(look)].colour

    def looks(self) -> tuple[str, ...]:
        """Return everything an indicator must be able to show: the bands, then the rest."""
        return tuple(band.name for band in self.bands) + SPECIAL
