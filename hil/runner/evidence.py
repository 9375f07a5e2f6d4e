"""Where the events of a run go: the journal first, then the tally, then whoever watches.

A watcher that fails (a closed terminal, a broken pipe) is let go; the run does not notice.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from hil.core.error import StoreError
from hil.core.event import ConsoleLine, Event
from hil.core.instant import Instant
from hil.report.about import About
from hil.report.alarm_files import write_alarms
from hil.report.capture.capture import write_capture
from hil.report.console_log import ConsoleLogs
from hil.report.journal import JournalWriter
from hil.report.junit import write_junit
from hil.report.page.write import write_pages
from hil.report.result import RunResult
from hil.report.tally import Tally

Watch = Callable[[Event], object]
T = TypeVar("T")


class Evidence:
    """The evidence of a run on a day (YYYY-MM-DD); raises StoreError when it cannot be begun."""

    def __init__(self, folder: Path, watch: Watch | None, day: str | None = None) -> None:
        self.folder = folder
        self.faults: list[StoreError] = []
        self._tally = Tally(day)
        self._watch = watch
        self._journal = JournalWriter(folder)
        self._consoles = ConsoleLogs(folder)
        self.record = self._journal.record
        self.record_datagram = self._journal.record_datagram
        """Where the loop writes events, and where datagrams."""

    @property
    def last_at(self) -> Instant:
        """The instant of the latest event."""
        return Instant(self._tally.last_at)

    def observe(self, event: Event) -> None:
        """Take in an event that was recorded; datagrams do not come here."""
        self._tally.receive(event)
        if isinstance(event, ConsoleLine):
            self._consoles.receive(event)
        if self._watch is None:
            return
        try:
            self._watch(event)
        except (OSError, ValueError):  # the terminal is gone
            self._watch = None

    def note(self, event: Event) -> None:
        """Record and observe an event of the runner's own."""
        self.record(event)
        self.observe(event)

    def close(self, about: About) -> tuple[RunResult, Path | None]:
        """End the journal and write the reports; what cannot be written is in `faults`."""
        missing = self._journal.missing
        if missing is not None:
            self.note(replace(missing, at=self.last_at))
        self._journal.close()
        if self._journal.fault is not None:
            self.faults.append(self._journal.fault)
        self._consoles.close()
        self.faults += self._consoles.faults
        result = self._tally.result()
        self._attempt(lambda: write_alarms(self.folder, result.alarms))
        junit = self._attempt(lambda: write_junit(self.folder, result, about))
        self._attempt(lambda: write_pages(self.folder, result, about))
        self._attempt(lambda: write_capture(self.folder, about))
        return result, junit

    def _attempt(self, write: Callable[[], T]) -> T | None:
        try:
            return write()
        except StoreError as error:
            self.faults.append(error)
            return None
