"""Makes the reports of a run again, from its journal, as often as wanted."""

from dataclasses import dataclass
from pathlib import Path

from hil.core.error import DescriptionError, Mark, Mistake, StoreError
from hil.report import journal
from hil.report.about import read_about
from hil.report.alarm_files import write_alarms
from hil.report.journal import JournalReader
from hil.report.junit import write_junit
from hil.report.tally import RunResult, Tally


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """What came out: the results, the report, and how many journal lines could not be read."""

    result: RunResult
    junit: Path
    unreadable: int


def rebuild(folder: Path) -> Rebuilt:
    """Make `junit.xml` of a run again, and the table and pictures of its alarms.

    Raises DescriptionError where the folder is not that of a run, and StoreError where a report
    cannot be written; the old one then stays.
    """
    reader = JournalReader(folder / journal.NAME, datagrams=False)
    tally = Tally()
    try:
        for event in reader:
            tally.receive(event)
    except StoreError as error:
        raise _not_a_run(folder, str(error)) from error
    result = tally.result()
    if not result.cases:
        raise _not_a_run(folder, f"{reader.path} tells of no case")
    junit = write_junit(folder, result, read_about(folder))
    write_alarms(folder, result.alarms)
    return Rebuilt(result, junit, reader.unreadable)


def _not_a_run(folder: Path, why: str) -> DescriptionError:
    hint = "name the folder of a run, such as reports/latest"
    return DescriptionError([Mistake(Mark(str(folder)), f"nothing to report: {why}", hint)])
