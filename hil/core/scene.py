"""What a run knows at a moment, shared by everything that judges: the latest samples, commands."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from hil.core.driving import Driving
from hil.core.event import Event
from hil.core.instant import Instant
from hil.core.plan import Condition
from hil.core.signal import Sample, Signal

Explain = Callable[[Sample, Condition, Signal], str]
"""Says what a wrong value looks like (`looks like hPa read as kPa`), or nothing."""


def explain_nothing(sample: Sample, condition: Condition, signal: Signal) -> str:
    """Offer no explanation."""
    return ""


@dataclass(slots=True, kw_only=True)
class Scene:
    """The latest sample of every signal, the commands under way, the events to be journalled."""

    signals: Mapping[str, Signal]
    driving: Driving
    origin: Instant
    explain: Explain = explain_nothing
    latest: dict[str, Sample] = field(default_factory=dict)
    events: list[Event] = field(default_factory=list)

    def since_origin(self, now: Instant) -> Instant:
        """Return `now` as the journal counts it: from the run's start."""
        return Instant(now - self.origin)
