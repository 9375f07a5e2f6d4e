"""Where two specs of the same thing differ, and where a node's own limits differ from the spec.

Two levels in different units are compared after conversion; `convert(value, from, to)` is given
by the caller and raises ValueError where two units do not measure the same thing.
"""

from collections.abc import Callable, Iterator
from decimal import Decimal

from hil.alarms.colour import show_hex
from hil.alarms.edge import Edge, edges
from hil.alarms.finding import Finding
from hil.alarms.palette import rgb_of
from hil.alarms.spec import Delay, Spec
from hil.core.error import Mark
from hil.core.instant import show_duration
from hil.core.signal import EXACT, Sample, Validity, show_number

Convert = Callable[[Decimal, str, str], Decimal]

_EQUAL = Decimal("1e-12")  # relative: a conversion from degF to degC never ends
_SLIP = Decimal("0.01")  # relative: how near to a round factor a slip is
_SLIPS = tuple(power for power in range(-6, 7) if power)


def compare(first: Spec, second: Spec, convert: Convert) -> tuple[Finding, ...]:
    """Return what differs, in the order of the second spec's file; marks are the second's."""
    unit = first.unit
    try:
        convert(Decimal(1), second.unit, unit)
    except ValueError as error:
        return (_units(first, second, str(error)),)

    pair = _Pair(first, second, convert)
    found = [*_bands(first, second), *_colours(first, second), *_behaviour(first, second)]
    found += pair.ranges()
    theirs = {edge.alarm: edge for edge in edges(second)}
    for edge in edges(first):
        if edge.alarm in theirs:
            found += pair.edges(edge, theirs[edge.alarm])
    return tuple(sorted(found, key=lambda one: (one.mark, one.code)))


class _Pair:
    """Two specs whose units convert into one another."""

    def __init__(self, first: Spec, second: Spec, convert: Convert) -> None:
        self.first, self.second, self.convert = first, second, convert

    def ranges(self) -> Iterator[Finding]:
        """Return the differences between the declared ranges."""
        for word, ours, theirs in (
            ("begins", self.first.low, self.second.low),
            ("ends", self.first.high, self.second.high),
        ):
            if not _same(ours, self.convert(theirs, self.second.unit, self.first.unit)):
                yield Finding(
                    code="AL-709",
                    mark=self.second.mark,
                    where=(),
                    why=f"the range {word} at {self._both(ours, theirs)}",
                    advice="state the same range in both",
                )

    def edges(self, ours: Edge, theirs: Edge) -> Iterator[Finding]:
        """Return the differences between the trip points of the same alarm."""
        converted = self.convert(theirs.trip, self.second.unit, self.first.unit)
        if not _same(ours.trip, converted):
            yield self._trips(ours, theirs, converted)
        elif ours.trip_included is not theirs.trip_included:
            owners = [edge.alarm if edge.trip_included else edge.inner for edge in (ours, theirs)]
            why = f"{self._both(ours.trip, theirs.trip)} belongs to {owners[0]}, and to {owners[1]}"
            yield _difference("AL-705", theirs, why, "state the same owner in both")
        yield from self._dead_bands(ours, theirs)
        for word, one, other in (
            ("on-delay", ours.on_delay, theirs.on_delay),
            ("off-delay", ours.off_delay, theirs.off_delay),
        ):
            if _show_delay(one) != _show_delay(other):
                why = f"the {word} is {_show_delay(one)}, and {_show_delay(other)}"
                yield _difference("AL-707", theirs, why, "state the same delay in both")

    def _trips(self, ours: Edge, theirs: Edge, converted: Decimal) -> Finding:
        power = _slip(ours.trip, converted)
        levels = self._both(ours.trip, theirs.trip)
        why = f"the trip point is {levels}"
        if power is None:
            return _difference("AL-703", theirs, why, "decide which of both is right")
        why += f": a factor of {10 ** abs(power)}"
        if self.first.unit != self.second.unit and ours.trip == theirs.trip:
            why += ", with the same number in two units"
        return _difference("AL-704", theirs, why, "check the unit of both")

    def _dead_bands(self, ours: Edge, theirs: Edge) -> Iterator[Finding]:
        reset = self.convert(theirs.reset, self.second.unit, self.first.unit)
        trip = self.convert(theirs.trip, self.second.unit, self.first.unit)
        if not _same(EXACT.subtract(ours.trip, ours.reset), EXACT.subtract(trip, reset)):
            why = f"the alarm clears at {self._both(ours.reset, theirs.reset)}"
            yield _difference("AL-706", theirs, why, "state the same dead band in both")
        elif ours.dead_band and ours.reset_included is not theirs.reset_included:
            words = [
                "clears" if edge.reset_included else "does not clear" for edge in (ours, theirs)
            ]
            why = f"exactly at {self._both(ours.reset, theirs.reset)} the alarm "
            yield _difference(
                "AL-706", theirs, f"{why}{words[0]}, and {words[1]}", "state the same in both"
            )

    def _both(self, ours: Decimal, theirs: Decimal) -> str:
        """Render two levels, each in both units where these differ."""
        if self.first.unit == self.second.unit:
            return f"{_show(ours, self.first.unit)}, and {_show(theirs, self.second.unit)}"
        here = self.convert(ours, self.first.unit, self.second.unit)
        there = self.convert(theirs, self.second.unit, self.first.unit)
        return (
            f"{_show(ours, self.first.unit)} ({_show(here, self.second.unit)}), "
            f"and {_show(theirs, self.second.unit)} ({_show(there, self.first.unit)})"
        )


def node_limit(
    name: str, trip: Decimal | None, reported: Sample, unit: str, mark: Mark
) -> Finding | None:
    """Compare a limit as the node reports it; an invalid report (a sentinel) means "not set".

    `trip` None means that the spec sets no such limit.  Returns None where both agree.
    """
    unset = reported.validity is Validity.INVALID
    if unset and trip is not None:
        code, why = "AL-710", f"{name} is {_show(trip, unit)} in the spec and not set in the node"
        return Finding(code=code, mark=mark, where=(name,), why=why, advice="set it in the node")
    if unset or reported.value == trip:
        return None
    wanted = "not set" if trip is None else _show(trip, unit)
    got = "unknown" if not isinstance(reported.value, Decimal) else _show(reported.value, unit)
    return Finding(
        code="AL-711",
        mark=mark,
        where=(name,),
        why=f"{name} is {wanted} in the spec and {got} in the node",
        advice="decide which of both is right",
    )


def _units(first: Spec, second: Spec, detail: str) -> Finding:
    return Finding(
        code="AL-701",
        mark=second.mark,
        where=(),
        why=f"one spec is in {first.unit or 'no unit'}, the other in {second.unit or 'no unit'}"
        + (f": {detail}" if detail else ""),
        advice="state both in units of the same quantity",
    )


def _bands(first: Spec, second: Spec) -> Iterator[Finding]:
    for ours, theirs in ((first, second), (second, first)):
        names = {band.name for band in theirs.bands}
        for band in ours.bands:
            if band.name not in names:
                mark = band.mark if ours is second else second.mark
                why = f"{band.name} is a band of {ours.mark.file} only"
                yield Finding(
                    code="AL-702",
                    mark=mark,
                    where=(band.name,),
                    why=why,
                    advice="use the same bands and names in both",
                )


def _colours(first: Spec, second: Spec) -> Iterator[Finding]:
    for look in first.looks():
        if look not in second.looks():
            continue
        one, other = first.colour(look), second.colour(look)
        if one == other and rgb_of(first, one) == rgb_of(second, other):
            continue
        codes = [_paint(spec, name) for spec, name in ((first, one), (second, other))]
        yield Finding(
            code="AL-708",
            mark=second.mark,
            where=(look,),
            why=f"{look} is {codes[0]}, and {codes[1]}",
            advice="state the same colour in both",
        )


def _paint(spec: Spec, colour: str) -> str:
    rgb = rgb_of(spec, colour)
    return colour if rgb is None else f"{colour} ({show_hex(rgb)})"


def _behaviour(first: Spec, second: Spec) -> Iterator[Finding]:
    for word, one, other in zip(_WORDS, _choices(first), _choices(second), strict=True):
        if one != other:
            yield Finding(
                code="AL-709",
                mark=second.mark,
                where=(),
                why=f"{word} is {one}, and {other}",
                advice="state the same in both",
            )


_WORDS = (
    "the normal band",
    "what decides",
    "the start-up hold",
    "the age of a stale value",
    "the age of a silent node",
    "what a fault leaves behind",
    "acknowledgement",
    "the latched alarms",
    "the agreement time",
)


def _choices(spec: Spec) -> tuple[str, ...]:
    rules, latch = spec.no_reading, spec.latch
    decides = "the measured value"
    if spec.displayed_decides and spec.display is not None:
        decides = f"the value with {spec.display.decimals} decimals, {spec.display.rounding.value}"
    acknowledged = "none"
    if latch is not None:
        when = "at any time" if latch.while_active else "after clearing only"
        memory = "kept over a restart" if latch.survives_restart else "lost at a restart"
        acknowledged = f"by {latch.signal} = {latch.label}, {when}, {memory}"
    return (
        spec.normal,
        decides,
        show_duration(spec.start_up.hold),
        show_duration(rules.stale_after) if rules.stale_after is not None else "none",
        show_duration(rules.silent_after) if rules.silent_after is not None else "none",
        rules.after.value,
        acknowledged,
        ", ".join(band.name for band in spec.bands if band.latched) or "none",
        show_duration(spec.agreement),
    )


def _difference(code: str, theirs: Edge, why: str, advice: str) -> Finding:
    return Finding(
        code=code,
        mark=theirs.mark,
        where=(theirs.alarm,),
        why=f"{theirs.alarm}: {why}",
        advice=advice,
    )


def _same(first: Decimal, second: Decimal) -> bool:
    return abs(EXACT.subtract(first, second)) <= _EQUAL * max(abs(first), abs(second))


def _slip(ours: Decimal, theirs: Decimal) -> int | None:
    """Return the power of ten by which two levels differ, if it is a whole one."""
    if ours == 0 or theirs == 0:
        return None
    ratio = EXACT.divide(theirs, ours)
    for power in _SLIPS:
        if abs(ratio.scaleb(-power) - 1) <= _SLIP:
            return power
    return None


def _show(value: Decimal, unit: str) -> str:
    rounded = EXACT.create_decimal(format(value, ".10g"))
    return f"{show_number(rounded)} {unit}".rstrip()


def _show_delay(delay: Delay | None) -> str:
    if delay is None:
        return "none"
    dips = ", dips count" if delay.dead_band_counts else ""
    forget = delay.forget_after
    gap = f", forgotten after {show_duration(forget)}" if forget is not None else ""
    return f"{show_duration(delay.length)} {delay.counting.value}{dips}{gap}"
