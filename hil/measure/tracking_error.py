"""How far a response was ever from what was commanded, between its samples too.

    commands c   ▔▔▔▔▔|____            known at every moment
    samples  r   o         o           between two of them the response is between their values

    at a sample    |r − c| for the c in force: certain, but for the noise and the look
    in a gap       |r − c| for every c in force in it and the r at either end: possible

A signal that reports every change is held at its last value, so there both are the same.  By
definition; the second holds for a response that does not come and go between two samples.
"""

from bisect import bisect_right
from collections.abc import Sequence
from decimal import Decimal

from hil.measure.span import Range


def worst_error(
    times: Sequence[int],
    values: Sequence[Decimal],
    *,
    commands: Sequence[tuple[int, Decimal]],
    end: int,
    held: bool,
    look: int = 0,
    noise: Decimal = Decimal(0),
) -> Range:
    """Return the greatest |response − command| from the first sample to `end`.

    `commands` are what was commanded from when on, in order; `look` is the longest that a sample
    took.  For one sample and one command or more.
    """
    sent = [at for at, _ in commands]

    def in_force(begin: int, until: int) -> list[Decimal]:
        first = max(0, bisect_right(sent, begin) - 1)
        return [value for _, value in commands[first : max(first + 1, bisect_right(sent, until))]]

    samples = list(zip(times, values, strict=True))
    seen = [min(abs(value - c) for c in in_force(at - look, at)) for at, value in samples]
    certain, possible = max(seen), max(seen)
    for place, (at, value) in enumerate(samples):
        last = place + 1 == len(samples)
        until = end if last else times[place + 1]
        if last and not held:
            break
        ends = [value] if held else [value, values[place + 1]]
        between = in_force(at - look, until - 1 if held else until)
        possible = max(possible, *(abs(one - c) for one in ends for c in between))
    if held:
        certain = possible
    return Range(float(max(Decimal(0), certain - noise)), float(certain), float(possible + noise))
