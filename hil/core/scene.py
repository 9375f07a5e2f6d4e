"""What a run knows at a moment, shared by everything that judges: the latest samples, commands."""

from collections import deque
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from operator import itemgetter

from hil.core.driving import Driving
from hil.core.event import Event
from hil.core.instant import Instant
from hil.core.observation import Exchanged, Samples
from hil.core.plan import Condition
from hil.core.signal import Sample, Signal

Explain = Callable[[Sample, Condition, Signal], str]
"""Says what a wrong value looks like (`looks like hPa read as kPa`), or nothing."""


_TURN = itemgetter(0)

_EXCHANGES = 64
"""How many exchanges with each node are remembered."""


def explain_nothing(sample: Sample, condition: Condition, signal: Signal) -> str:
    """Offer no explanation."""
    return ""


class Latest(Mapping[str, Sample]):
    """The latest sample of every signal, looked up when somebody asks.

    Kept are the latest samples of each set of signals that comes in one datagram, and `known`,
    samples from before the run.
    """

    __slots__ = ("_carriers", "_known", "_seen", "_turn")

    def __init__(self, known: Mapping[str, Sample]) -> None:
        self._known = dict(known)
        self._seen: dict[tuple[str, ...], tuple[int, Samples]] = {}
        self._carriers: dict[str, list[tuple[str, ...]]] = {}
        self._turn = 0

    def take(self, seen: Samples) -> None:
        """Remember what was seen."""
        self._turn = turn = self._turn + 1
        if seen.signals not in self._seen:
            for signal in dict.fromkeys(seen.signals):
                self._carriers.setdefault(signal, []).append(seen.signals)
        self._seen[seen.signals] = turn, seen

    def __getitem__(self, signal: str) -> Sample:
        carriers = self._carriers.get(signal)
        if carriers is None:
            return self._known[signal]
        _, last = max([self._seen[each] for each in carriers], key=_TURN)
        return last.of((signal,))[-1]

    def __iter__(self) -> Iterator[str]:
        return iter(dict.fromkeys([*self._known, *self._carriers]))

    def __len__(self) -> int:
        return sum(1 for _ in self)


@dataclass(slots=True, kw_only=True)
class Scene:
    """The latest sample of every signal, the commands under way, the events to be journalled.

    `exchanges` are the last ones with each node in its present life, by which its clock is known.
    """

    signals: Mapping[str, Signal]
    driving: Driving
    origin: Instant
    explain: Explain = explain_nothing
    latest: Latest = field(default_factory=lambda: Latest({}))
    exchanges: dict[str, deque[Exchanged]] = field(default_factory=dict)
    events: list[Event] = field(default_factory=list)
    nodes: frozenset[str] = field(init=False)

    def __post_init__(self) -> None:
        self.nodes = frozenset(signal.node for signal in self.signals.values())

    def exchange(self, seen: Exchanged) -> None:
        """Remember an exchange with a node."""
        self.exchanges.setdefault(seen.node, deque(maxlen=_EXCHANGES)).append(seen)

    def since_origin(self, now: Instant) -> Instant:
        """Return `now` as the journal counts it: from the run's start."""
        return Instant(now - self.origin)
