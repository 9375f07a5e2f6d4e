"""What a run knows at a moment, shared by everything that judges: the latest samples, commands."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from operator import itemgetter

from hil.core.driving import Driving
from hil.core.event import Event
from hil.core.instant import Instant
from hil.core.observation import Samples
from hil.core.plan import Condition
from hil.core.signal import Sample, Signal

Explain = Callable[[Sample, Condition, Signal], str]
"""Says what a wrong value looks like (`looks like hPa read as kPa`), or nothing."""


def explain_nothing(sample: Sample, condition: Condition, signal: Signal) -> str:
    """Offer no explanation."""
    return ""


class Latest(Mapping[str, Sample]):
    """The latest sample of every signal, looked up when somebody asks.

    Kept are the latest samples of each set of signals that comes in one datagram, and `known`,
    samples from before the run.
    """

    __slots__ = ("_known", "_seen", "_turn")

    def __init__(self, known: Mapping[str, Sample]) -> None:
        self._known = dict(known)
        self._seen: dict[tuple[str, ...], tuple[int, Samples]] = {}
        self._turn = 0

    def take(self, seen: Samples) -> None:
        """Remember what was seen."""
        self._turn = turn = self._turn + 1
        self._seen[seen.signals] = turn, seen

    def __getitem__(self, signal: str) -> Sample:
        carriers = [kept for signals, kept in self._seen.items() if signal in signals]
        if not carriers:
            return self._known[signal]
        _, last = max(carriers, key=itemgetter(0))
        return next(sample for sample in reversed(last.samples) if sample.signal == signal)

    def __iter__(self) -> Iterator[str]:
        return iter(dict.fromkeys([*self._known, *(path for key in self._seen for path in key)]))

    def __len__(self) -> int:
        return sum(1 for _ in self)


@dataclass(slots=True, kw_only=True)
class Scene:
    """The latest sample of every signal, the commands under way, the events to be journalled."""

    signals: Mapping[str, Signal]
    driving: Driving
    origin: Instant
    explain: Explain = explain_nothing
    latest: Latest = field(default_factory=lambda: Latest({}))
    events: list[Event] = field(default_factory=list)
    nodes: frozenset[str] = field(init=False)

    def __post_init__(self) -> None:
        self.nodes = frozenset(signal.node for signal in self.signals.values())

    def since_origin(self, now: Instant) -> Instant:
        """Return `now` as the journal counts it: from the run's start."""
        return Instant(now - self.origin)
