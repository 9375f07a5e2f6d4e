"""What is shown while a run goes on: one line per case, and on a terminal a line that lives.

Nothing is drawn while a step is judged: the terminal is written to only where a case or step
begins or ends, from the same thread, so that watching does not make the bench late.
"""

import time
from typing import TYPE_CHECKING, TextIO

from hil.core.event import CaseEnded, CaseStarted, Event, RunStarted, StepStarted
from hil.core.instant import Duration, show_duration
from hil.core.verdict import Outcome
from hil.report.paint import paint
from hil.report.summary import TONES, Line, Tone
from hil.report.visible import visible_line

if TYPE_CHECKING:
    from rich.progress import Progress as Bar

_REDRAW_SECONDS = 0.05


class PlainProgress:
    """One line for every case that ends: outcome, plan, title, time."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def __call__(self, event: Event) -> None:
        if isinstance(event, RunStarted):
            self._stream.write(f"{_cases(len(event.cases))} on {visible_line(event.bench)}\n")
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

        self._stream = stream
        self._bar: Bar = Progress(
            TextColumn("{task.completed} of {task.total}", markup=False),
            BarColumn(bar_width=24),
            TextColumn("{task.fields[left]}", markup=False),
            TextColumn("{task.fields[case]}", markup=False),
            console=Console(file=stream, markup=False, highlight=False, soft_wrap=True),
            auto_refresh=False,
            transient=True,
        )
        self._task = self._bar.add_task("", total=0, left="", case="")
        self._began = self._drawn = 0.0
        self._done = self._total = 0
        self._case = self._shown = ""

    def __call__(self, event: Event) -> None:
        if isinstance(event, RunStarted):
            self._total = len(event.cases)
            self._began = time.monotonic()
            self._bar.start()
            self._draw(force=True)
        elif isinstance(event, CaseStarted):
            self._case = visible_line(event.case)
            self._draw()
        elif isinstance(event, StepStarted) and self._shown != self._case:
            self._draw()
        elif isinstance(event, CaseEnded):
            self._end(event)

    def close(self) -> None:
        """Take the bar off the screen."""
        self._bar.stop()

    def _end(self, event: CaseEnded) -> None:
        self._done += 1
        if event.outcome not in (Outcome.PASS.word, Outcome.SKIPPED.word):
            text = "".join(piece for piece, _ in case_line(event))
            self._bar.console.print(text, style="yellow")
        if self._done >= self._total:
            self._case = ""
            self._draw(force=True)

    def _draw(self, force: bool = False) -> None:
        now = time.monotonic()
        if not force and now - self._drawn < _REDRAW_SECONDS:
            return
        self._drawn, self._shown = now, self._case
        left = time_left(self._done, self._total, now - self._began)
        self._bar.update(
            self._task, completed=self._done, total=self._total, left=left, case=self._case[:60]
        )
        self._bar.refresh()


def _cases(count: int) -> str:
    return "1 case" if count == 1 else f"{count} cases"


def case_line(event: CaseEnded) -> Line:
    """Return the line of a case that ended."""
    try:
        tone = TONES[Outcome(event.outcome)]
    except ValueError:
        tone = Tone.BAD
    again = f" (attempt {event.attempt})" if event.attempt > 1 else ""
    title = visible_line(f"{event.plan}: {event.case}{again}")
    return (
        (f"{event.outcome:<12}  ", tone),
        (title, Tone.PLAIN),
        (f"  {show_duration(Duration(max(0, event.took)))}", Tone.QUIET),
    )


def time_left(done: int, total: int, elapsed_seconds: float) -> str:
    """Say how long it will still take, from how long the cases so far took.

    >>> time_left(10, 40, 20.0), time_left(0, 40, 1.0), time_left(1, 1000, 7.0)
    ('about 60 s left', '', 'about 117 min left')
    """
    if not done or done >= total:
        return ""
    left = elapsed_seconds / done * (total - done)
    return f"about {left:.0f} s left" if left < 120 else f"about {left / 60:.0f} min left"
