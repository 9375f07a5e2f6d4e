"""What `hil set` shows: what became of each command, where things are while they are held, the end.

feedline.pressure   set to 9.00 bar   reads 9.00 bar   12 ms old
held for 4 s; Ctrl-C ends it and makes the rack safe
"""

from typing import TextIO

from hil.cli.age import show_age
from hil.cli.screen import Block, Patient
from hil.cli.sgr import Colours, Pieces, fit, render, text_of
from hil.core.count import counted
from hil.core.event import (
    ActuatorSafe,
    CaseEnded,
    CommandLogged,
    Event,
    HostNoted,
    NodeNoted,
    RunEnded,
)
from hil.core.instant import MILLISECOND, SECOND, Duration, Instant, show_duration
from hil.core.observation import NodeTrouble, Purpose
from hil.core.plan import Stimulus
from hil.core.signal import Sample, Signal, Validity, show_value
from hil.core.verdict import Outcome
from hil.report.exit_code import ExitCode, meaning
from hil.report.line import Tone, spell
from hil.report.paint import is_screen, wants_colour
from hil.report.visible import visible_line
from hil.runner.session import REPAIRED
from hil.runner.set import Held, Wanted

_ON_SCREEN = Duration(200 * MILLISECOND)
_IN_A_PIPE = Duration(1 * SECOND)

_OF_NO_CONSEQUENCE = (NodeTrouble.STRAY.value, NodeTrouble.DUPLICATE.value)

Words = tuple[tuple[str, Tone], ...]


class SetFace:
    """Shows a hold on a stream; `period` is how often one looks where things are."""

    def __init__(self, wanted: Wanted, stream: TextIO) -> None:
        lively = is_screen(stream)
        self.period = _ON_SCREEN if lively else _IN_A_PIPE
        self._wanted = wanted
        self._signals = wanted.rack.signals()
        self._encoding = stream.encoding or "utf-8"
        self._colours = Colours(wants_colour(stream))
        self._block = Block(stream) if lively else None
        self._paper = Patient(stream)
        self._accepted: set[str] = set()
        self._began: Instant | None = None
        self._over = False
        self._told: dict[str, str] = {}
        self._safe: list[ActuatorSafe] = []
        self._width = max(len(one.signal) for one in wanted.stimuli)
        shown = [show_value(one.value, self._signals[one.signal]) for one in wanted.stimuli]
        self._values = max(len(f"set to {value}") for value in shown)

    def say(self, text: str) -> None:
        """Write a remark."""
        for line in text.splitlines():
            self._say((line, Tone.QUIET))

    def happened(self, event: Event) -> None:
        """Tell what became of a command, what is odd, and how it ends."""
        if isinstance(event, CommandLogged) and event.purpose == Purpose.STIMULUS.value:
            self._command(event)
        elif isinstance(event, NodeNoted) and event.trouble not in _OF_NO_CONSEQUENCE:
            self._say(
                (f"{event.node}: ", Tone.DOUBT), (f"{event.trouble}, {event.text}", Tone.PLAIN)
            )
        elif isinstance(event, HostNoted) and event.trouble == REPAIRED:
            self._say((event.text, Tone.DOUBT))
        elif isinstance(event, CaseEnded):
            self._end(event)
        elif isinstance(event, ActuatorSafe):
            self._safe.append(event)
        elif isinstance(event, RunEnded) and event.outcome == Outcome.NOT_RUN.word:
            self._say((event.aborted or "nothing was driven", Tone.BAD))

    def look(self, seen: dict[str, Sample], now: Instant) -> None:
        """Show where the driven signals are, while they are held."""
        if not self._accepted or self._over:
            return
        if self._began is None:
            self._began = now
        rows = {one.signal: self._row(one, seen, now) for one in self._wanted.stimuli}
        if self._block is not None:
            held = f"held for {show_age(now - self._began)}; {self._way_out()}"
            lines = [*rows.values(), ((held, Tone.QUIET),)]
            width = self._block.size.columns - 1
            self._block.draw([render(fit(self._styled(line), width)) for line in lines])
            return
        for signal, row in rows.items():
            text = "".join(text for text, _ in row[:-1])  # its age alone is no news
            if text != self._told.get(signal):
                self._told[signal] = text
                self._say(*row)

    def close(self) -> None:
        """Let the lines that live be lines like others."""
        if self._block is not None:
            self._block.close()
        else:
            self._paper.flush()

    def conclude(self, held: Held, code: int) -> None:
        """Say whether the rack is safe, and what the exit code means where it is not 0."""
        if held.moved:
            unsafe = [event for event in self._safe if not event.confirmed]
            count = len(self._safe)
            if held.safe:
                self._say((f"safe: all {counted(count, 'driven signal')} are back", Tone.GOOD))
            else:
                self._say(
                    (f"NOT SAFE: {len(unsafe)} of {counted(count, 'driven signal')}", Tone.BAD)
                )
            for event in unsafe:
                self._say(
                    (
                        f"    {event.signal} is not confirmed at {event.value}: {event.text}",
                        Tone.BAD,
                    )
                )
        for fault in held.faults:
            self._say((f"not as it should be: {fault}", Tone.BAD))
        if code != ExitCode.PASSED:
            self._say((f"exit code {code}: {meaning(code)}", Tone.PLAIN))
        self.close()

    # --- pieces --------------------------------------------------------------------------------

    def _command(self, event: CommandLogged) -> None:
        if event.state == "accepted":
            self._accepted.add(event.signal)
            if self._block is not None:
                return  # the living lines say so
            detail = f" ({event.detail})" if "asked for" in event.detail else ""
            self._say(
                (f"{event.signal} ", Tone.PLAIN), (f"set to {event.value}{detail}", Tone.STRONG)
            )
            if len(self._accepted) == len(self._wanted.stimuli):
                self._say((f"held; {self._way_out()}", Tone.QUIET))
        elif event.state != "sent":
            what = f"{event.signal} to {event.value} was {event.state}: {event.detail}"
            self._say((what, Tone.BAD))

    def _end(self, event: CaseEnded) -> None:
        self._over = True
        if self._block is not None:
            self._block.close()
        if event.outcome != Outcome.PASS.word:
            for reason in event.reasons:
                text = reason.removeprefix("the run ended here: ")
                self._say((text, Tone.PLAIN if text != reason else Tone.BAD))
        self._say(("making the rack safe", Tone.QUIET))

    def _way_out(self) -> str:
        length = self._wanted.length
        if length is None:
            return "Ctrl-C ends it and makes the rack safe"
        return f"after {show_duration(length)}, or with Ctrl-C, the rack is made safe"

    def _row(self, stimulus: Stimulus, seen: dict[str, Sample], now: Instant) -> Words:
        signal = self._signals[stimulus.signal]
        shown = signal.drive.readback if signal.drive and signal.drive.readback else signal.path
        value = f"set to {show_value(stimulus.value, signal)}"
        head = (
            (f"{signal.path:<{self._width}}   ", Tone.PLAIN),
            (f"{value:<{self._values}}   ", Tone.STRONG),
        )
        sample = seen.get(shown)
        if sample is None:
            return (*head, ("", Tone.PLAIN), ("not read back", Tone.QUIET))
        where = "" if shown == signal.path else f"{shown.removeprefix(f'{signal.node}.')} "
        text, tone = _reading(sample, self._signals[shown])
        return (
            *head,
            (f"{where}{text}", tone),
            (f"   {show_age(now - sample.at)} old", Tone.QUIET),
        )

    def _say(self, *words: tuple[str, Tone]) -> None:
        line = self._styled(words)
        if self._block is not None:
            self._block.say(render(line))
        else:
            self._paper.write(text_of(line).rstrip() + "\n")

    def _styled(self, words: Words) -> Pieces:
        spelled = spell(tuple((visible_line(text), tone) for text, tone in words), self._encoding)
        return tuple((text, self._colours.tone(tone)) for text, tone in spelled)


def _reading(sample: Sample, signal: Signal) -> tuple[str, Tone]:
    if sample.validity is Validity.VALID:
        return f"reads {show_value(sample.value, signal)}", Tone.PLAIN
    if sample.validity is Validity.STALE:
        return f"is stale: {sample.note}", Tone.DOUBT
    return f"reads no measurement: {sample.note}", Tone.BAD
