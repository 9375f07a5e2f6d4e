"""Which machine watches an expectation: `within` is reached, `during` and `never` last."""

from hil.core.expectation import Watch
from hil.core.instant import Instant
from hil.core.plan import Expectation
from hil.core.reach import Reach
from hil.core.signal import Sample, Signal
from hil.core.throughout import Throughout


def watch_for(
    expectation: Expectation,
    signal: Signal,
    start: Instant,
    before: Sample | None = None,
    *,
    trust_before: bool = False,
) -> Watch:
    """Return the machine for one signal of an expectation; see Reach for `trust_before`."""
    if expectation.timing.within is not None:
        return Reach(expectation, signal, start, before, trust_before)
    return Throughout(expectation, signal, start, before)
