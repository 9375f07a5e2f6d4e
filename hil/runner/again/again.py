"""A recorded run judged again: from its folder to a folder of its own, marked as such.

Nothing is opened and nothing driven.  The new journal keeps what was recorded (datagrams, notes on
nodes and host, what was left safe) and has new verdicts; its first host note says what it was made from.
"""

from collections import Counter
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from hil.core.error import DescriptionError, Mark, Mistake
from hil.core.event import BenchFile, Event, HostNoted, RunEnded, RunStarted
from hil.core.instant import Instant
from hil.core.plan import Plan
from hil.core.verdict import Outcome, worst
from hil.files.read import read_plans, read_rack, read_rack_text
from hil.measure.libraries import load_libraries
from hil.report import journal
from hil.report.about import describe, write_about
from hil.report.journal import JournalReader
from hil.report.store import new_folder
from hil.report.tally import RunResult
from hil.runner.again.judging import Judging
from hil.runner.evidence import Evidence
from hil.runner.explaining import explainer
from hil.runner.selection import plan_files
from hil.wire.rack import Rack

AGAIN = "judged again"


@dataclass(frozen=True, slots=True)
class JudgedAgain:
    """What came of it: the result, its folder, and what could not be written."""

    result: RunResult
    folder: Path
    faults: tuple[str, ...]


def judge_again(
    source: Path, plans: tuple[str, ...], bench: str, reports: Path, command: tuple[str, ...]
) -> JudgedAgain:
    """Judge a recorded run by plans (its own, where none is named), on its bench or on another.

    Raises DescriptionError for a folder that is not that of a run and for mistakes in the files,
    and StoreError where no evidence can be begun.
    """
    recorded = list(JournalReader(source / journal.NAME))
    started = recorded[0] if recorded else None
    if not isinstance(started, RunStarted):
        raise _refused(source, "there is no journal of a run in it", "name the folder of a run")
    rack = read_rack(bench) if bench else _recorded_rack(source, recorded)
    files = plan_files(plans) if plans else [file for _, file, _ in started.plans]
    read = read_plans(files, rack)
    load_libraries([case for plan in read for case in plan.cases])
    moment = datetime.now(UTC)
    folder = new_folder(reports, f"{moment:%Y%m%dT%H%M%SZ}-{rack.name}-again")
    evidence = Evidence(folder, None)
    about = describe(
        run=folder.name,
        started=moment,
        command=command,
        bench=rack.name,
        interface=f"none: judged again from {source.resolve().name}",
        stamps=started.stamps,
    )
    write_about(folder, about)
    _judge(rack, read, recorded, started, source, evidence)
    result, _ = evidence.close(about)
    return JudgedAgain(result, folder, tuple(str(fault) for fault in evidence.faults))


def _judge(
    rack: Rack,
    plans: tuple[Plan, ...],
    recorded: list[Event],
    started: RunStarted,
    source: Path,
    evidence: Evidence,
) -> None:
    told = tuple((plan.title, plan.file, plan.digest) for plan in plans)
    evidence.note(replace(started, plans=told, bench_digest=rack.digest))
    text = f"judged again from the run {source.resolve().name}: nothing was driven"
    evidence.note(HostNoted(at=Instant(0), trouble=AGAIN, amount=1, text=text))
    cases = {(plan.title, case.title): case for plan in plans for case in plan.cases}
    judging = Judging(rack, cases, recorded, explain=explainer(rack))
    for event in judging.run():
        evidence.note(event)
    ended = next((one for one in reversed(recorded) if isinstance(one, RunEnded)), None)
    counts = Counter(outcome.word for outcome in judging.outcomes)
    counts[Outcome.NOT_RUN.word] += len(started.cases) - len(judging.outcomes)
    evidence.note(
        RunEnded(
            at=evidence.last_at,
            outcome=worst(list(judging.outcomes) or [Outcome.NOT_RUN]).word,
            counts=dict(counts),
            aborted="" if ended is None else ended.aborted,
            safe=ended is not None and ended.safe,
        )
    )


def _recorded_rack(source: Path, recorded: list[Event]) -> Rack:
    for event in recorded:
        if isinstance(event, BenchFile):
            return read_rack_text(event.text, event.file)
    raise _refused(source, "its journal does not hold its bench file", "name one with --bench")


def _refused(source: Path, what: str, hint: str) -> DescriptionError:
    return DescriptionError([Mistake(Mark(str(source)), f"cannot be judged again: {what}", hint)])
