"""`hil get`, from the bench file to what was read."""

from collections.abc import Sequence
from dataclasses import dataclass

from hil.bench.interrupt import Interrupts
from hil.bench.loop import drive
from hil.core.instant import SECOND, Duration, Instant
from hil.core.signal import Sample, Signal
from hil.runner.fetching import Fetching
from hil.runner.naming import named_signals
from hil.runner.onlooker import looking_bench, reading_rack
from hil.wire.link import Links
from hil.wire.rack import Rack

WITHIN = Duration(2 * SECOND)


@dataclass(frozen=True, slots=True, kw_only=True)
class Got:
    """What was read by `now`; `silent` and `impostors` say why of nodes, `stopped_by` is a signal."""

    rack: Rack
    signals: tuple[Signal, ...]
    samples: dict[str, Sample]
    silent: dict[str, str]
    impostors: dict[str, str]
    now: Instant
    stopped_by: int | None


def get(rack: Rack, words: Sequence[str], *, virtual: bool, within: Duration = WITHIN) -> Got:
    """Read the current values of signals.  Raises DescriptionError and BenchError."""
    signals = named_signals(rack, words)
    asked = reading_rack(rack, signals)
    with (
        Interrupts() as interrupts,
        looking_bench(asked, rack, interrupts, virtual=virtual, live=False) as bench,
    ):
        start = bench.now()
        fetching = Fetching(asked.nodes, signals, start, within)
        drive(fetching, Links(asked, start), bench, _forget, origin=start, record_datagram=_forget)
        return Got(
            rack=rack,
            signals=signals,
            samples=fetching.seen,
            silent=fetching.silent,
            impostors=fetching.impostors,
            now=bench.now(),
            stopped_by=interrupts.number,
        )


def _forget(*passage: object) -> None:
    """Keep nothing of what passes."""
