"""Makes the reports of a run again, from its journal, as often as wanted."""

from dataclasses import dataclass
from pathlib import Path

from hil.core.error import DescriptionError, Mark, Mistake, StoreError
from hil.report import journal
from hil.report.about import About, read_about
from hil.report.alarm_files import write_alarms
from hil.report.capture.capture import write_capture
from hil.report.console_log import rebuild_logs
from hil.report.journal import JournalReader
from hil.report.junit import write_junit
from hil.report.page.write import write_pages
from hil.report.result import RunResult
from hil.report.tally import Tally


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """What came out: the results, the reports, and how many journal lines could not be read."""

    result: RunResult
    junit: Path
    unreadable: int
    page: Path


@dataclass(frozen=True, slots=True)
class Folded:
    """A run as its folder tells it."""

    result: RunResult
    about: About | None
    unreadable: int


def fold_run(folder: Path) -> Folded:
    """Fold the journal of a run.  Raises DescriptionError where the folder is not that of a run."""
    reader = JournalReader(folder / journal.NAME, datagrams=False)
    about = read_about(folder)
    tally = Tally(None if about is None else about.started[:10])
    try:
        for event in reader:
            tally.receive(event)
    except StoreError as error:
        raise _not_a_run(folder, str(error)) from error
    result = tally.result()
    if not result.cases:
        raise _not_a_run(folder, f"{reader.path} tells of no case")
    return Folded(result, about, reader.unreadable)


def rebuild(folder: Path) -> Rebuilt:
    """Make the reports of a run again: JUnit XML, pages, console logs, alarm table and pictures.

    Raises DescriptionError where the folder is not that of a run, and StoreError where a report
    cannot be written; the old one then stays.
    """
    run = fold_run(folder)
    junit = write_junit(folder, run.result, run.about)
    write_alarms(folder, run.result.alarms)
    rebuild_logs(folder)
    page = write_pages(folder, run.result, run.about)
    write_capture(folder, run.about)
    return Rebuilt(run.result, junit, run.unreadable, page)


def _not_a_run(folder: Path, why: str) -> DescriptionError:
    hint = "name the folder of a run, such as reports/latest"
    return DescriptionError([Mistake(Mark(str(folder)), f"nothing to report: {why}", hint)])
