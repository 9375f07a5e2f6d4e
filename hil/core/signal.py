"""Signals, and samples of them.

A signal is one named quantity or state of a node, written `node.signal`.  Numbers are exact
decimals in the signal's own unit, so that 20.3 satisfies 20.0 ± 0.3; labels and text are `str`.
"""

import decimal
from dataclasses import dataclass, field
from decimal import Decimal
from enum import Enum

from hil.core.instant import ZERO, Duration, Instant

Value = Decimal | str
"""What a signal can carry: an exact number in the signal's unit, or a label or text."""

EXACT = decimal.Context(prec=50, Emin=-6144, Emax=6144)
"""The context of all arithmetic on values: enough digits for any 64-bit count times any scale."""


class Kind(Enum):
    """What kind of thing a signal carries."""

    NUMBER = "number"
    LABEL = "label"
    TEXT = "text"


class Validity(Enum):
    """Whether a sample says something about the quantity.

    VALID    a measurement
    INVALID  the node says it has none: sentinel, NaN, infinity, outside the declared range
    STALE    the node has said nothing for longer than the signal's age limit
    """

    VALID = "valid"
    INVALID = "invalid"
    STALE = "stale"


@dataclass(frozen=True, slots=True, kw_only=True)
class Program:
    """That a signal is driven by a program on the bench computer, and not by a datagram.

    It may run for `within`.  It restarts the nodes `restarts`, which must be heard again after at
    most `back_within`.  `labels` are those it knows, none where it takes any text.  What `stays`
    is neither put back nor made safe: it is left as the last command left it.
    """

    within: Duration
    restarts: tuple[str, ...] = ()
    back_within: Duration = ZERO
    labels: tuple[str, ...] = ()
    stays: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """How a signal may be driven.

    `rate` is in units of the signal per second: a command may differ from the one before by at
    most rate × the time since then.  `safe` is where it must end; `rest` is where it is put back
    after a case.  `readback` names the sensed signal, in full, that shows where the actuator is.
    """

    safe: Value
    rest: Value
    actuator: bool = True
    rate: Decimal | None = None
    readback: str | None = None
    readback_tolerance: Decimal = Decimal(0)
    settle: Duration = ZERO
    program: Program | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy:
    """An accuracy statement: ±(of_reading·|y| + of_range·(high − low) + counts·δ + fixed).

    `of_reading` and `of_range` are fractions (0.005 for 0.5 %), `fixed` is in the signal's unit.
    """

    of_reading: Decimal = Decimal(0)
    of_range: Decimal = Decimal(0)
    counts: Decimal = Decimal(0)
    fixed: Decimal = Decimal(0)

    def __post_init__(self) -> None:
        if min(self.of_reading, self.of_range, self.counts, self.fixed) < 0:
            raise ValueError("an accuracy has no negative part")


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """The declaration of one signal.

    `low` and `high` bound what is physically meant (both inclusive); `resolution` is one count;
    `accuracy` is how far a reading may be from the truth at the worst, `accuracy_parts` how that
    comes about;
    `noise` is the half-width within which a resting signal may wander; `sampling` is the longest
    time between two looks at the signal, or None where the node reports every change;
    `stale_after` is the age at which a value no longer counts; `warmup` is how long after a boot
    readings do not count yet.
    """

    node: str
    name: str
    kind: Kind
    unit: str = ""
    low: Decimal | None = None
    high: Decimal | None = None
    resolution: Decimal | None = None
    accuracy: Decimal | None = None
    accuracy_parts: Accuracy | None = None
    noise: Decimal = Decimal(0)
    binary32: bool = False
    labels: tuple[str, ...] = ()
    sensed: bool = True
    drive: Drive | None = None
    sampling: Duration | None = None
    stale_after: Duration | None = None
    warmup: Duration = ZERO
    path: str = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "path", f"{self.node}.{self.name}")


@dataclass(slots=True)
class Sample:
    """One look at a signal.

    `at` is the arrival's own instant; the quantity had this value at some moment between `since`
    and `at` (they are equal where the node reports every change by itself).  `note` says why a
    sample is invalid, or what is odd about it.  Treat it as frozen; it is not declared so
    because making one must be cheap.  `raw` is the datagram it came in.
    """

    signal: str
    value: Value | None
    validity: Validity
    since: Instant
    at: Instant
    note: str = ""
    raw: bytes = b""


def show_number(value: Decimal) -> str:
    """Render an exact number without exponent and without losing a digit.

    >>> show_number(Decimal("1E+2")), show_number(Decimal("-0.50"))
    ('100', '-0.50')
    """
    text = format(value, "f")
    return "0" if text in ("-0", "0") else text


def show_value(value: Value | None, signal: Signal | None = None) -> str:
    """Render a value with its unit: `4.80 bar`, `red`, `no value`."""
    if value is None:
        return "no value"
    if isinstance(value, str):
        return value if value else "(empty text)"
    unit = signal.unit if signal is not None else ""
    return f"{show_number(value)} {unit}" if unit else show_number(value)
