"""What is shown while a run goes on: one line per case, and on a terminal a line that lives.

Nothing is drawn while a step is judged: the terminal is written to only where a case or step
begins or ends, from the same thread, so that watching does not make the bench late.
"""

import time
from collections.abc import Sequence
from typing import TYPE_CHECKING, TextIO

from hil.cli.forecast import TRUST, Forecast, expected_seconds, show_left
from hil.core.count import counted
from hil.core.event import (
    CaseEnded,
    CaseStarted,
    Event,
    OperatorAnswered,
    OperatorAsked,
    RunStarted,
    StepStarted,
)
from hil.core.instant import Duration, show_duration
from hil.core.plan import Case
from hil.core.verdict import Outcome
from hil.report.line import Line, Tone, crop, spell
from hil.report.paint import paint, styled
from hil.report.summary import TONES
from hil.report.visible import visible_line

if TYPE_CHECKING:
    from rich.progress import Progress as Bar

_REDRAW_SECONDS = 0.05
_BAR = 24


class PlainProgress:
    """One line for every case that ends: outcome, plan, title, time."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def foresee(self, cases: Sequence[Case]) -> None:
        """Nothing is said of the time left where nothing can be taken back."""

    def __call__(self, event: Event) -> None:
        if isinstance(event, RunStarted):
            self._stream.write(
                f"{counted(len(event.cases), 'case')} on {visible_line(event.bench)}\n"
            )
        elif isinstance(event, CaseEnded):
            paint([case_line(event)], self._stream, colour=False)
        self._stream.flush()

    def close(self) -> None:
        """Nothing is left on the screen that must go."""


class LiveProgress:
    """A bar with the current case and the time left, and a line for every case that went wrong."""

    def __init__(self, stream: TextIO) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn

        self._encoding = stream.encoding or "utf-8"
        self._bar_column = BarColumn(bar_width=_BAR)
        self._bar: Bar = Progress(
            TextColumn("{task.fields[count]}", markup=False),
            self._bar_column,
            TextColumn("{task.fields[left]}", markup=False),
            TextColumn("{task.fields[case]}", markup=False),
            console=Console(file=stream, markup=False, highlight=False, soft_wrap=True),
            auto_refresh=False,
            transient=True,
        )
        self._task = self._bar.add_task("", total=0, count="", left="", case="")
        self._expected: list[float] = []
        self._forecast = Forecast([], 0.0)
        self._drawn = 0.0
        self._total = 0
        self._asking = False
        self._case = self._shown = ""

    def foresee(self, cases: Sequence[Case]) -> None:
        """Learn which cases will run, before they do: each weighs what its windows say."""
        self._expected = [expected_seconds(case) for case in cases]

    def __call__(self, event: Event) -> None:
        if isinstance(event, RunStarted):
            self._begin(event)
        elif isinstance(event, CaseStarted):
            self._forecast.began(event.index)
            self._case = visible_line(event.case)
            self._draw()
        elif isinstance(event, StepStarted) and self._shown != self._case:
            self._draw()
        elif isinstance(event, CaseEnded):
            self._end(event)
        elif isinstance(event, OperatorAsked) and not event.stand_in:
            self._make_way()
        elif isinstance(event, OperatorAnswered) and event.by != "bench":
            self._come_back()

    def close(self) -> None:
        """Take the bar off the screen."""
        self._bar.stop()

    def _make_way(self) -> None:
        """Take the bar off the screen while somebody is asked something there."""
        self._asking = True
        self._bar.stop()

    def _come_back(self) -> None:
        self._asking = False
        self._bar.start()
        self._draw(force=True)

    def _begin(self, event: RunStarted) -> None:
        self._total = len(event.cases)
        expected = self._expected
        if len(expected) != self._total:
            expected = [1.0] * self._total
        trust = 0.0 if event.virtual or not self._expected else TRUST
        self._forecast = Forecast(expected, time.monotonic(), trust)
        self._bar.start()
        self._draw(force=True)

    def _end(self, event: CaseEnded) -> None:
        self._forecast.ended(event.index, time.monotonic())
        if event.outcome not in (Outcome.PASS.word, Outcome.SKIPPED.word):
            line = self._fitted(case_line(event), self._bar.console.width)
            self._bar.console.print(styled(line))
        if self._forecast.done >= self._total:
            self._case = ""
            self._draw(force=True)

    def _draw(self, force: bool = False) -> None:
        now = time.monotonic()
        if self._asking or (not force and now - self._drawn < _REDRAW_SECONDS):
            return
        self._drawn, self._shown = now, self._case
        width = self._bar.console.width
        count = f"{self._forecast.done} of {self._total}"
        left = show_left(self._forecast.left(now))
        bar = min(_BAR, width // 5)
        self._bar_column.bar_width = bar
        room = max(0, width - len(count) - bar - len(left) - 4)
        (case, _), *_ = self._fitted(((self._case if room > 1 else "", Tone.PLAIN),), room)
        self._bar.update(
            self._task,
            completed=self._forecast.done,
            total=self._total,
            count=count,
            left=left,
            case=case,
        )
        self._bar.refresh()

    def _fitted(self, line: Line, width: int) -> Line:
        """Return a line as the encoding and the window have it."""
        (ellipsis, _), *_ = spell((("…", Tone.PLAIN),), self._encoding)
        return crop(spell(line, self._encoding), width, ellipsis)


def case_line(event: CaseEnded) -> Line:
    """Return the line of a case that ended: how long it took, or why it was skipped.

    The values of `vary` are a piece of their own: they tell cropped lines apart.
    """
    try:
        tone = TONES[Outcome(event.outcome)]
    except ValueError:
        tone = Tone.BAD
    again = f" (attempt {event.attempt})" if event.attempt > 1 else ""
    title, bracket, values = event.case.rpartition(" [")
    if not title or not values.endswith("]"):  # it is not varied
        title, bracket, values = event.case, "", ""
    aside = show_duration(Duration(max(0, event.took)))
    if event.outcome == Outcome.SKIPPED.word and event.reasons:
        aside = visible_line("; ".join(event.reasons))
    return (
        (f"{event.outcome:<12}  ", tone),
        (visible_line(f"{event.plan}: {title}"), Tone.PLAIN),
        (visible_line(f"{bracket}{values}{again}"), Tone.PLAIN),
        (f"  {aside}", Tone.QUIET),
    )
