"""Makes the reports of a run again, from its journal, as often as wanted."""

from dataclasses import dataclass
from pathlib import Path

from hil.core.error import StoreError
from hil.report import journal
from hil.report.about import read_about
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
    """Make `junit.xml` of a run again; raises StoreError, an old report then stays."""
    reader = JournalReader(folder / journal.NAME, datagrams=False)
    tally = Tally()
    for event in reader:
        tally.receive(event)
    result = tally.result()
    if not result.cases:
        raise StoreError(f"{reader.path} tells of no case: nothing to report")
    return Rebuilt(result, write_junit(folder, result, read_about(folder)), reader.unreadable)
