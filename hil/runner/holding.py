"""Holding signals by hand: a case of one step, which drives them and then waits.

So everything that holds for a plan holds here: the roll call and who a node is, range and rate,
repair after an unclean end, and every actuator driven safe and confirmed at the end.

    until somebody ends it, or `length` is over
    or a node that was driven reboots: it has forgotten what it was told
"""

from collections.abc import Sequence
from dataclasses import dataclass

from hil.core.error import Mark
from hil.core.instant import ZERO, Duration, Instant
from hil.core.observation import NodeNote, NodeTrouble, Observation
from hil.core.plan import Case, Step, Stimulus
from hil.core.scene import Scene
from hil.core.verdict import Outcome
from hil.runner.naming import COMMAND_LINE
from hil.wire.rack import Rack

TITLE = "by hand"


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """Keep what the step drives; `watches` are the signals that show where it is."""

    watches: tuple[str, ...]
    nodes: tuple[str, ...]
    length: Duration | None = None
    drives: tuple[str, ...] = ()

    def begin(self, scene: Scene, where: str, index: int, step: int, start: Instant) -> "Holding":
        """Set it to work."""
        return Holding(self, where, start)


class Holding:
    """The machine that waits; it moves nothing."""

    blamed: tuple[str, ...] = ()

    def __init__(self, hold: Hold, where: str, start: Instant) -> None:
        self._hold = hold
        self._where = where
        self._end = None if hold.length is None else Instant(start + hold.length)
        self.done = False
        self.outcomes: tuple[Outcome, ...] = ()
        self.reasons: tuple[str, ...] = ()

    def receive(self, seen: Observation, now: Instant) -> None:
        """Notice that a node which was driven has rebooted; the case says so itself."""
        if not isinstance(seen, NodeNote) or seen.trouble is not NodeTrouble.REBOOT:
            return
        if seen.node in self._hold.nodes:
            self.done = True

    def tick(self, now: Instant) -> None:
        """Let time reach `now`."""
        if self._end is not None and now >= self._end and not self.done:
            self.done = True
            self.outcomes = (Outcome.PASS,)

    def next_wakeup(self) -> Instant | None:
        """Return when it is over."""
        return None if self.done else self._end

    def take_sends(self) -> tuple[()]:
        """Return nothing."""
        return ()

    def break_off(self, reason: str, now: Instant) -> None:
        """End now."""
        self.done = True


def holding_case(rack: Rack, stimuli: Sequence[Stimulus], length: Duration | None) -> Case:
    """Return the case that drives these signals and holds them."""
    signals = rack.signals()
    mark = Mark(COMMAND_LINE)
    step = Step(
        stimuli=tuple(stimuli),
        expectations=(),
        wait=ZERO,
        mark=mark,
        job=Hold(
            watches=shown_by(rack, stimuli),
            nodes=tuple(signals[stimulus.signal].node for stimulus in stimuli),
            length=length,
        ),
    )
    return Case(
        plan=TITLE,
        title=TITLE,
        variation="",
        requirements=(),
        tags=(),
        precondition=(),
        steps=(step,),
        restore=False,  # the end of the run makes everything safe at once
        reboots=(),
        skip="",
        mark=mark,
    )


def shown_by(rack: Rack, stimuli: Sequence[Stimulus]) -> tuple[str, ...]:
    """Return the signals that show where the driven ones are: read-backs, and what is sensed."""
    signals = rack.signals()
    found: dict[str, None] = {}
    for stimulus in stimuli:
        signal = signals[stimulus.signal]
        if signal.sensed:
            found[signal.path] = None
        if signal.drive is not None and signal.drive.readback is not None:
            found[signal.drive.readback] = None
    return tuple(found)
