"""A node's serial console as the bench file describes it: the line, and what is said on it.

These descriptions are frozen; patterns in them come from hil.wire.console.pattern and fit whole
lines.  A serial line is addressed by the text that names its device, with port 0.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from hil.core.instant import SECOND, Duration
from hil.wire.rack import Address

DEFAULT_LONGEST = 512
DEFAULT_BOOT_WITHIN = Duration(5 * SECOND)


@dataclass(frozen=True, slots=True, kw_only=True)
class Usb:
    """A serial adapter by its identity on the USB: of equal ones the socket tells them apart.

    `location` is the position, as Linux names it: `1-1.4` is hub port 4 behind port 1 of bus 1.
    """

    vendor: int
    product: int
    serial: str = ""
    interface: int | None = None
    location: str = ""

    def __str__(self) -> str:
        parts = [f"usb {self.vendor:04x}-{self.product:04x}"]
        parts += [f"serial {self.serial}"] if self.serial else []
        parts += [f"interface {self.interface}"] if self.interface is not None else []
        parts += [f"in {self.location}"] if self.location else []
        return " ".join(parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """The electrical side: rate in bit/s, frame such as `8N1`, control lines at opening.

    `dtr` and `rts` are None where nothing is said about them.
    """

    rate: int
    frame: str = "8N1"
    dtr: bool | None = None
    rts: bool | None = None

    @property
    def bits(self) -> Decimal:
        """How many bit times one character takes, with its start, parity and stop bits."""
        size, parity, stop = self.frame[0], self.frame[1], self.frame[2:]
        return 1 + Decimal(size) + (parity != "N") + Decimal(stop)

    def lasting(self, octets: int) -> Duration:
        """Return how long so many characters are on the line, rounded up.

        >>> Line(rate=115_200).lasting(1)
        86806
        """
        half_bits = octets * int(2 * self.bits)  # one and a half stop bits are no whole number
        return Duration(-(-half_bits * SECOND // (2 * self.rate)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Phrase:
    """A command: `send` with `{value}` (or `{raw}`) in it, and the lines that answer it.

    The group `value` of `accept` is the value now in force, `why` of `refuse` the node's reason.
    """

    send: str
    accept: re.Pattern[str]
    refuse: re.Pattern[str] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What the tool asks by itself, `every` so often.

    Without `answer` the first line that is a reading answers it.
    """

    send: str
    answer: re.Pattern[str] | None = None
    every: Duration | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Console:
    """A serial console.

    `ending` ends the lines that are sent; `prompt` is what stands there without a line end while
    the node waits for a command; `boot` is the line that shows a boot, and comes within
    `boot_within` where `opening_resets` the node.  The groups of `readings` are signals by
    `group_of`, besides `boots`; those of `identify` are `serial` and `firmware`.
    """

    device: str = ""
    usb: Usb | None = None
    line: Line
    opening_resets: bool = False
    boot: re.Pattern[str] | None = None
    boot_within: Duration = DEFAULT_BOOT_WITHIN
    prompt: re.Pattern[str] | None = None
    ending: bytes = b"\n"
    longest: int = DEFAULT_LONGEST
    echo: bool = True
    identify: Question | None = None
    read: Question | None = None
    readings: tuple[re.Pattern[str], ...] = ()
    commands: Mapping[str, Phrase] = field(default_factory=dict)

    @property
    def address(self) -> Address:
        """Where it is, in the tool's own words."""
        return Address(self.device or str(self.usb), 0)


def group_of(signal: str) -> str:
    """Return the name of the group that carries a signal; groups know no `-` and no dots.

    >>> group_of("vane-1.angle")
    'vane_1_angle'
    """
    return re.sub(r"[^A-Za-z0-9_]", "_", signal)
