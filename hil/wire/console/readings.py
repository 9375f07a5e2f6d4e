"""Readings on a console: which lines carry values, and how old those values may be.

When was the quantity so?  A line that was asked for shows a moment between the question leaving
and its end arriving; one that came by itself, a moment not before its first character began.
The first line after the opening may lack its beginning and is never taken for a reading.
"""

import re
from collections.abc import Callable

from hil.core.instant import ZERO, Instant, show_duration
from hil.core.observation import Observation, Samples
from hil.core.signal import Sample, Signal, Validity
from hil.wire.console.description import Console, group_of
from hil.wire.console.lines import Line
from hil.wire.console.wording import understood
from hil.wire.rack import Node
from hil.wire.timers import Timer, Timers

Say = Callable[[Observation], None]

MOST_HELD = 64
"""So many readings are kept back while nobody knows whose they are."""


class ConsoleReadings:
    """Takes the readings of one console.

    `booted` is when the node booted, None while that is unknown.  While `held`, readings are kept
    back: it is not known yet whose they are.
    """

    def __init__(self, node: Node, console: Console, timers: Timers, say: Say) -> None:
        self._node, self._line, self._say = node, console.line, say
        self.booted: Instant | None = None
        self.held = False
        self._kept: list[Samples] = []
        by_group = {group_of(signal.name): signal for signal in node.signals}
        self._patterns = [
            (
                pattern,
                [(group, by_group[group]) for group in pattern.groupindex if group != "boots"],
            )
            for pattern in console.readings
        ]
        carried = {signal.path for _, groups in self._patterns for _, signal in groups}
        self.carried = [signal for signal in node.signals if signal.path in carried]
        self._ageing = {
            signal.path: (Timer(timers, self._grow_stale(signal)), signal.stale_after)
            for signal in self.carried
            if signal.stale_after is not None
        }

    def fitting(self, text: str) -> re.Match[str] | None:
        """Return how the first pattern that fits a line fits it."""
        for pattern, _ in self._patterns:
            match = pattern.fullmatch(text)
            if match is not None:
                return match
        return None

    def take(self, match: re.Match[str], line: Line, asked: Instant | None) -> None:
        """Take the values out of a reading that was asked for at `asked`, or came by itself."""
        if asked is None:
            whole = self._line.lasting(len(line.octets) + 1)
            asked = min(line.begun, Instant(line.at - whole))
        asked = min(asked, line.at)
        samples = []
        for group, signal in self._groups(match.re):
            word = match[group]
            if word is None:
                continue
            value, validity, note = understood(word, signal, self._node.encodings[signal.name])
            if self.booted is not None and line.at < self.booted + signal.warmup:
                validity, note = Validity.STALE, "warming up"
            samples.append(
                Sample(signal.path, value, validity, asked, line.at, note, raw=line.octets)
            )
            if signal.path in self._ageing:
                timer, age = self._ageing[signal.path]
                timer.set(Instant(line.at + age))
        self._hand_over(Samples(self._node.name, samples))

    def release(self) -> None:
        """Hand over what was kept back, and that the node has spoken."""
        self.held = False
        kept, self._kept = self._kept, []
        for samples in kept or [Samples(self._node.name, ())]:
            self._say(samples)

    def lose(self, at: Instant, why: str) -> None:
        """Say that nothing is known any more about any value."""
        samples = [
            Sample(signal.path, None, Validity.STALE, at, at, why) for signal in self.carried
        ]
        for timer, _ in self._ageing.values():
            timer.clear()
        self._kept.clear()
        if samples:
            self._say(Samples(self._node.name, samples))

    def _groups(self, pattern: re.Pattern[str]) -> list[tuple[str, Signal]]:
        return next(groups for known, groups in self._patterns if known is pattern)

    def _hand_over(self, samples: Samples) -> None:
        if not self.held:
            self._say(samples)
            return
        self._kept = [*self._kept[1 - MOST_HELD :], samples]

    def _grow_stale(self, signal: Signal) -> Callable[[Instant, Instant], None]:
        note = f"nothing for {show_duration(signal.stale_after or ZERO)}"

        def grow_stale(due: Instant, now: Instant) -> None:
            sample = Sample(signal.path, None, Validity.STALE, due, due, note)
            self._hand_over(Samples(self._node.name, [sample]))

        return grow_stale
