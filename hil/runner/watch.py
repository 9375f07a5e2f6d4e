"""`hil watch`, from the bench file to the end of watching."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from hil.alarms.spec import Spec
from hil.bench.interrupt import Interrupts
from hil.bench.loop import drive
from hil.core.instant import Duration, Instant
from hil.core.signal import Signal
from hil.runner.attended import Attended
from hil.runner.banding import needs
from hil.runner.live import Live
from hil.runner.onlooker import looking_bench, watching_rack
from hil.wire.link import Links
from hil.wire.rack import Rack


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """What is to be watched: which signals of which rack, by which alarm specs, how often drawn."""

    rack: Rack
    signals: tuple[Signal, ...]
    specs: tuple[Spec, ...] = ()
    period: Duration
    length: Duration | None = None
    virtual: bool = False


class View(Protocol):
    """What shows it to people."""

    def look(self, live: Live, now: Instant) -> bool:
        """Show how things are; return whether somebody wants it to end."""


def watch(watched: Watched, view: View) -> int | None:
    """Watch until somebody ends it; return the signal that did.  Raises BenchError."""
    rack = watching_rack(watched.rack, _needed(watched))
    with (
        Interrupts() as interrupts,
        looking_bench(rack, watched.rack, interrupts, virtual=watched.virtual, live=True) as bench,
    ):
        start = bench.now()
        live = Live(
            watched.signals,
            start,
            period=watched.period,
            specs=watched.specs,
            length=watched.length,
        )

        def look(now: Instant) -> None:
            live.done = view.look(live, now) or live.done

        attended = Attended(live, watched.period, start, look)
        drive(attended, Links(rack, start), bench, _forget, origin=start, record_datagram=_forget)
        return interrupts.number


def _needed(watched: Watched) -> Sequence[Signal]:
    """Return the watched signals and whatever else their specs look at."""
    all_signals = watched.rack.signals()
    paths = {signal.path for signal in watched.signals}
    more = {path for spec in watched.specs if spec.signal in paths for path in needs(spec)}
    return [*watched.signals, *(all_signals[path] for path in sorted(more - paths))]


def _forget(*passage: object) -> None:
    """Keep nothing of what passes."""
