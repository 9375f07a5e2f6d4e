"""Putting back, or making safe, where the bench switches the power of nodes by programs.

    PROGRAMS   signals that the bench drives by programs: first, for without power nothing obeys
    RETURN     the nodes that this restarts are heard again
    NODES      all other signals, by commands to the nodes

Without such a program this is Placing and nothing more.
"""

from collections.abc import Container, Iterable, Iterator, Sequence

from hil.core.instant import Duration, Instant, after
from hil.core.observation import Observation, Purpose
from hil.core.placing import REPEATS, Placing, Target, safe_values
from hil.core.returning import Returning
from hil.core.scene import Scene
from hil.core.signal import Signal, Value

Wanted = Sequence[tuple[str, Value]]


class Securing:
    """The machine; over when `done`, with `missing` nodes and `targets` that may have failed."""

    def __init__(
        self,
        scene: Scene,
        targets: Wanted,
        purpose: Purpose,
        start: Instant,
        limit: Instant | None = None,
    ) -> None:
        self._scene, self._purpose, self._limit = scene, purpose, limit
        programs = [each for each in targets if is_program(scene.signals[each[0]])]
        self._later: Wanted = [each for each in targets if each not in programs] if programs else ()
        self._returning: Returning | None = None
        self._placings = [Placing(scene, programs or targets, purpose, start, limit)]
        self._programs = bool(programs)
        self.missing: dict[str, str] = {}
        self._advance(start)

    @property
    def targets(self) -> list[Target]:
        """Everything that was to be put in place, so far."""
        return [target for placing in self._placings for target in placing.targets]

    @property
    def done(self) -> bool:
        return not self._programs and self._returning is None and self._placings[-1].done

    def hurry(self, limit: Instant) -> None:
        """Wait no longer than until `limit`; what is not confirmed by then has failed."""
        self._limit = limit if self._limit is None else min(limit, self._limit)
        self._part.hurry(limit)

    def receive(self, seen: Observation, now: Instant) -> None:
        """Pass it to the part that is on."""
        self._part.receive(seen, now)
        self._advance(now)

    def tick(self, now: Instant) -> None:
        """Let time reach `now`."""
        self._part.tick(now)
        self._advance(now)

    def next_wakeup(self) -> Instant | None:
        """Return when the part that is on wants to be woken."""
        return self._part.next_wakeup()

    def heeds(self) -> Container[str]:
        """Return the nodes whose samples may change anything now."""
        return self._part.heeds()

    def take_sends(self) -> tuple[()]:
        """Return nothing: commands leave through the scene's driving."""
        return ()

    @property
    def _part(self) -> Placing | Returning:
        return self._placings[-1] if self._returning is None else self._returning

    def _advance(self, now: Instant) -> None:
        if self._programs and self._placings[-1].done:
            self._programs = False
            nodes = _restarted(self._placings[-1].targets)
            self._returning = Returning(self._scene, nodes, now, self._limit)
        if self._returning is not None and self._returning.done:
            self.missing.update(self._returning.missing)
            self._returning = None
            placing = Placing(self._scene, self._later, self._purpose, now, self._limit)
            self._placings.append(placing)


def put_back(scene: Scene, paths: Iterable[str], now: Instant) -> Securing:
    """Put driven signals back to where they rest, but for those that stay as they are."""
    values = []
    for path in paths:
        drive = scene.signals[path].drive
        if drive is not None and (drive.program is None or not drive.program.stays):
            values.append((path, drive.rest))
    return Securing(scene, values, Purpose.RESTORE, now)


def not_put_back(back: Securing) -> Iterator[str]:
    """Yield why each signal is not where it was to be put back, and what did not come back."""
    for target in back.targets:
        if target.failed:
            yield f"{target.signal.path} was not put back: {target.failed}"
    yield from back.missing.values()


def away(back: Securing) -> Iterator[str]:
    """Yield the nodes that did not put something back, or did not come back themselves.

    What a program of the bench did not do is no node's.
    """
    for target in back.targets:
        if target.failed and not is_program(target.signal):
            yield target.signal.node
    yield from back.missing


def make_safe(scene: Scene, now: Instant, limit: Duration) -> Securing:
    """Make the whole rack safe within the limit, and within what programs astray take beyond it."""
    astray = [scene.signals[path] for path in sorted(scene.driving.astray)]
    programs = [(each.path, each.drive.safe) for each in astray if each.drive is not None]
    until = after(now, Duration(limit + program_patience(astray)))
    targets = [*programs, *safe_values(scene.signals)]
    return Securing(scene, targets, Purpose.SAFE, now, until)


def is_program(signal: Signal) -> bool:
    """Say whether the bench drives a signal by a program of its own."""
    return signal.drive is not None and signal.drive.program is not None


def program_patience(signals: Sequence[Signal]) -> Duration:
    """Return how long programs may take to make these safe, and their nodes to come back."""
    programs = [signal.drive.program for signal in signals if signal.drive is not None]
    times = [REPEATS * each.within + each.back_within for each in programs if each is not None]
    return Duration(max(times, default=0))


def _restarted(targets: Sequence[Target]) -> dict[str, Duration]:
    """Return the nodes that switching these has restarted, with how long each may take."""
    nodes: dict[str, Duration] = {}
    for target in targets:
        drive = target.signal.drive
        if target.done and drive is not None and drive.program is not None:
            for node in drive.program.restarts:
                nodes[node] = max(drive.program.back_within, nodes.get(node, Duration(0)))
    return nodes
