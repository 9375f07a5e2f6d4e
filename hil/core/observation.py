"""What the engine is told, and what it asks for.

The engine never sees bytes.  A link (hil.wire) turns its commands into datagrams and datagrams
into the observations below; the bench adds what it knows about itself.
"""

from collections.abc import Container, Sequence
from dataclasses import dataclass
from enum import Enum

from hil.core.errand import Report
from hil.core.instant import Duration, Instant
from hil.core.order import Order
from hil.core.signal import Sample, Value


class Purpose(Enum):
    """Why a command is sent."""

    STIMULUS = "stimulus"
    RESTORE = "restore"
    SAFE = "safe"


@dataclass(frozen=True, slots=True, kw_only=True)
class Command:
    """Drive `signal` to `value`; `token` is unique within the run and comes back in answers."""

    token: int
    signal: str
    value: Value
    purpose: Purpose


@dataclass(frozen=True, slots=True, kw_only=True)
class Confirmed:
    """A node is who it must be: what it told at `at`, each as (what, how it is).

    It took so many requests (`asked`; none for a node that only speaks by itself) and so long
    (`took`) from the first of them.
    """

    node: str
    at: Instant
    facts: tuple[tuple[str, str], ...]
    asked: int
    took: Duration


@dataclass(frozen=True, slots=True, kw_only=True)
class Unconfirmed:
    """Nobody knows who is at the node's address; `detail` says why."""

    node: str
    at: Instant
    detail: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CommandSent:
    """The command left the bench at `at`; `raw` is what went out."""

    token: int
    at: Instant
    raw: bytes = b""


@dataclass(frozen=True, slots=True, kw_only=True)
class CommandAnswered:
    """The node answered: `accepted`, or refused with `detail` in its own words."""

    token: int
    at: Instant
    accepted: bool
    detail: str = ""
    raw: bytes = b""


@dataclass(frozen=True, slots=True, kw_only=True)
class CommandLost:
    """No answer came by the node's answer time, or none can come; `detail` says why.

    `broken` where the bench itself failed: then no node is in question.
    """

    token: int
    at: Instant
    detail: str
    broken: bool = False


class NodeTrouble(Enum):
    """What can be odd about a node's traffic."""

    GARBLED = "garbled"
    STRAY = "stray"
    DUPLICATE = "duplicate"
    UNREACHABLE = "port closed"
    REBOOT = "reboot"
    FOREIGN = "answer from another address"
    ANY_SOURCE = "another address of its own"
    IDENTITY = "identity"
    REFUSED = "request refused"
    UNANSWERED = "not answered"
    SUBSCRIPTION = "subscription"
    OPENED = "console opened"


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeNote:
    """Something odd about a node: what, when, in words, with the bytes where there are any.

    A reboot lies between `since`, the last word of the node's old life, and `at`, the first of its
    new one; `since` is None where nothing was heard before.
    """

    node: str
    trouble: NodeTrouble
    at: Instant
    text: str
    raw: bytes = b""
    since: Instant | None = None


class HostTrouble(Enum):
    """What can be wrong with the bench computer itself."""

    LATE = "host late"
    DROPPED = "host dropped"
    CLOCK = "wall clock stepped"


@dataclass(frozen=True, slots=True, kw_only=True)
class HostNote:
    """Something wrong on the bench's own side: how long it was late, how many it dropped."""

    trouble: HostTrouble
    at: Instant
    amount: int
    text: str
    since: Instant = Instant(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Abort:
    """Somebody wants the run to end now; every actuator is still driven safe."""

    reason: str
    at: Instant
    patience: Duration


@dataclass(frozen=True, slots=True, kw_only=True)
class Exchanged:
    """A node was asked at `sent`, and what it said to that came at `at`, stamped with its own time.

    `stamp` is the node's time in nanoseconds since it booted, modulo `span`, in steps of `tick`.
    """

    node: str
    sent: Instant
    at: Instant
    stamp: int
    span: int
    tick: Duration


class Samples:
    """All samples of one datagram, in the order of its layout; `signals` are what they are of.

    Whoever makes one may put off the samples themselves until somebody looks (hil.wire.reception
    does): most of what a rack says concerns nobody.
    """

    __slots__ = ("_samples", "node", "signals")

    def __init__(self, node: str, samples: Sequence[Sample]) -> None:
        self.node = node
        self.signals = tuple(sample.signal for sample in samples)
        self._samples = samples

    @property
    def samples(self) -> Sequence[Sample]:
        return self._samples

    def of(self, wanted: Container[str]) -> Sequence[Sample]:
        """Return the samples of the wanted signals alone."""
        return [sample for sample in self._samples if sample.signal in wanted]

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Samples):
            return NotImplemented
        return self.node == other.node and list(self.samples) == list(other.samples)

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        return f"Samples({self.node!r}, {list(self.samples)!r})"


Observation = (
    Samples
    | CommandSent
    | CommandAnswered
    | CommandLost
    | Exchanged
    | Confirmed
    | Unconfirmed
    | NodeNote
    | HostNote
    | Abort
    | Order
    | Report
)
