"""Exit codes: one table, shared by the code, `hil run --help` and reports/README.md.

Where several apply the highest number wins, so that a run whose report could not be written
does not look like one whose node failed, and a stopped run does not look like either.
"""

import signal
from dataclasses import dataclass
from enum import IntEnum

from hil.core.verdict import Outcome
from hil.report.result import RunResult


class ExitCode(IntEnum):
    """What the number means; see TABLE for the words."""

    PASSED = 0
    NODE = 1
    DESCRIPTION = 2
    BENCH = 3
    BUG = 4
    STORE = 5
    ABORTED = 128


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table: the code as shown, what it means, whose fault it is."""

    code: ExitCode
    shown: str
    meaning: str
    fault: str


TABLE = (
    Row(ExitCode.PASSED, "0", "something ran and all of it passed", "nobody's"),
    Row(ExitCode.NODE, "1", "a node failed, or passed only when tried again", "the node's"),
    Row(
        ExitCode.DESCRIPTION,
        "2",
        "a bench file, plan, alarm spec or command line is wrong, or nothing was proven",
        "the author's",
    ),
    Row(
        ExitCode.BENCH,
        "3",
        "the bench could not judge: unreachable, busy, late, inconclusive, not safe",
        "the bench's",
    ),
    Row(ExitCode.BUG, "4", "the tool itself broke", "ours"),
    Row(ExitCode.STORE, "5", "evidence could not be written", "the disk's"),
    Row(
        ExitCode.ABORTED,
        "128 + signal",
        "stopped by a signal: 130 Ctrl-C, 143 terminated, 129 hung up",
        "nobody's",
    ),
)

_OF_OUTCOME = {
    Outcome.PASS: ExitCode.PASSED,
    Outcome.KNOWN: ExitCode.PASSED,
    Outcome.SKIPPED: ExitCode.PASSED,
    Outcome.FAIL: ExitCode.NODE,
    Outcome.UNSTABLE: ExitCode.NODE,
    Outcome.INCONCLUSIVE: ExitCode.BENCH,
    Outcome.ERROR: ExitCode.BENCH,
    Outcome.NOT_RUN: ExitCode.BENCH,
}


_PROVE_NOTHING = (Outcome.SKIPPED, Outcome.KNOWN)


def exit_code(result: RunResult, *, store_fault: bool = False, bug: bool = False) -> int:
    """Return the exit code of a run by its results; the highest that applies."""
    counts = result.counts()
    codes = [int(_OF_OUTCOME[outcome]) for outcome in counts]
    if not any(counts[outcome] for outcome in counts if outcome not in _PROVE_NOTHING):
        codes.append(ExitCode.DESCRIPTION)
    if not result.safe:
        codes.append(ExitCode.BENCH)
    if store_fault:
        codes.append(ExitCode.STORE)
    if bug:
        codes.append(ExitCode.BUG)
    stopped_by = signal_number(result.ended.aborted) if result.ended is not None else None
    if stopped_by is not None:
        codes.append(ExitCode.ABORTED + stopped_by)
    elif result.ended is not None and result.ended.aborted:
        codes.append(ExitCode.BENCH)
    return max(codes)


def signal_number(aborted: str) -> int | None:
    """Return the number of the signal in a run's `aborted` (`ended by SIGTERM`), if it is one."""
    for word in aborted.replace(",", " ").split():
        if word in signal.Signals.__members__:
            return int(signal.Signals[word])
    return None


def meaning(code: int) -> str:
    """Return what an exit code means, in words."""
    if code > ExitCode.ABORTED:
        try:
            return f"stopped by {signal.Signals(code - ExitCode.ABORTED).name}"
        except ValueError:
            return "stopped by a signal"
    return next(row.meaning for row in TABLE if row.code == code)
