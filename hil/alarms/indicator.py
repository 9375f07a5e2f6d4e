"""What shows an alarm, and how: the part of a spec that names indicators.

Every way of showing gives, for each look (a band, or fault, stale, silent, start-up), what must
be there.  A second cue beside colour is a way of showing that differs between two looks and that
does not need colour to be told apart.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from enum import Enum

from hil.core.error import Mark
from hil.core.instant import Duration
from hil.core.signal import EXACT

Rgb = tuple[int, int, int]
"""Red, green and blue as the indicator's 8-bit sRGB codes."""


class Rounding(Enum):
    """Which way a value exactly between two displayed ones goes."""

    HALF_AWAY = "half away from zero"
    HALF_EVEN = "half even"


_DECIMAL_ROUNDING = {Rounding.HALF_AWAY: ROUND_HALF_UP, Rounding.HALF_EVEN: ROUND_HALF_EVEN}


@dataclass(frozen=True, slots=True, kw_only=True)
class Displayed:
    """How a value is displayed: with so many decimals, rounded in a stated way."""

    decimals: int
    rounding: Rounding

    def round(self, value: Decimal) -> Decimal:
        """Return the value as displayed.

        >>> Displayed(decimals=1, rounding=Rounding.HALF_AWAY).round(Decimal("79.95"))
        Decimal('80.0')
        """
        step = Decimal(1).scaleb(-self.decimals)
        return value.quantize(step, rounding=_DECIMAL_ROUNDING[self.rounding], context=EXACT)


class Cue(Enum):
    """By what people tell two states apart."""

    COLOUR = "colour"
    TEXT = "text"
    SHAPE = "shape"
    BLINK = "blink"
    POSITION = "position"


@dataclass(frozen=True, slots=True, kw_only=True)
class Labels:
    """The signal carries a label; `cue` is what the label stands for on the real thing."""

    wanted: Mapping[str, str]
    cue: Cue


@dataclass(frozen=True, slots=True, kw_only=True)
class RgbCodes:
    """Red, green and blue are read back, in three signals or one of 0xRRGGBB.

    `tolerance` is ± per channel, in codes.
    """

    wanted: Mapping[str, Rgb]
    tolerance: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Chromaticity:
    """CIE 1931 x and y are measured, in two signals; `wanted` names a region of hil.alarms.region.

    The wanted region None means that the lamp is off: no chromaticity can be measured.
    """

    wanted: Mapping[str, str | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Segments:
    """The signal counts the lit segments of a bar: from the first to the second number."""

    wanted: Mapping[str, tuple[int, int]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """The signal carries exactly this text."""

    wanted: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """The signal shows the input itself, rounded; without a reading it shows none (or a text)."""

    display: Displayed
    tolerance: Decimal
    wanted: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Blink:
    """The signal is a blink rate in hertz, from the first to the second number; 0 is steady."""

    wanted: Mapping[str, tuple[Decimal, Decimal]]


How = Labels | RgbCodes | Chromaticity | Segments | Text | Reading | Blink


@dataclass(frozen=True, slots=True, kw_only=True)
class Indicator:
    """One indicator: the signals it is seen by, and how they show a look.

    `within` overrides the agreement time of the spec for this indicator.  What it shows during the
    looks of `not_judged` does not matter: a lamp may keep its colour while its head unit restarts.
    """

    signals: tuple[str, ...]
    how: How
    mark: Mark
    within: Duration | None = None
    not_judged: tuple[str, ...] = ()


def cue(how: How) -> Cue | None:
    """Return what a way of showing adds for the eye; None for the plain reading, which adds none.

    A reading is a text, but which band it lies in cannot be read from it.
    """
    match how:
        case Labels(cue=stated):
            return stated
        case RgbCodes() | Chromaticity():
            return Cue.COLOUR
        case Segments():
            return Cue.POSITION
        case Text():
            return Cue.TEXT
        case Blink():
            return Cue.BLINK
        case Reading():
            return None
