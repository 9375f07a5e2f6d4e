"""A recorded run judged again: from its folder to a folder of its own, marked as such.

Nothing is opened and nothing driven.  The new journal keeps what was recorded (datagrams, notes on
nodes and host, what was left safe) and has new verdicts; its first host note says what it was made from.
"""

from collections import Counter
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from hil.core.count import counted
from hil.core.error import DescriptionError, Mark, Mistake, StoreError
from hil.core.event import BenchFile, Event, HostNoted, RunEnded, RunStarted
from hil.core.event.rack import JUDGED_AGAIN
from hil.core.instant import Instant
from hil.core.plan import Plan
from hil.core.verdict import Outcome, worst
from hil.files.read import read_plans_with_warnings, read_rack, read_rack_text
from hil.measure.libraries import load_libraries
from hil.report import journal
from hil.report.about import describe, write_about
from hil.report.capture.pcapng import NoCapture, read
from hil.report.journal import JournalReader
from hil.report.result import RunResult
from hil.report.store import new_folder
from hil.runner.again.judging import Judging
from hil.runner.again.placing import placed
from hil.runner.evidence import Evidence
from hil.runner.explaining import explainer
from hil.runner.selection import plan_files
from hil.wire.rack import Rack

_NAME_A_RUN = "name the folder of a run, such as reports/latest"


@dataclass(frozen=True, slots=True)
class JudgedAgain:
    """What came of it: the result, its folder, and what could not be written.

    `remarks` say what of the recording could not be read.
    """

    result: RunResult
    folder: Path
    faults: tuple[str, ...]
    remarks: tuple[str, ...]


def judge_again(
    source: Path, plans: tuple[str, ...], bench: str, reports: Path, command: tuple[str, ...]
) -> JudgedAgain:
    """Judge a recorded run by plans (its own, where none is named), on its bench or on another.

    `source` is the folder of a run, or a capture file, which needs plans and a bench file named.
    Raises DescriptionError for what is neither and for mistakes in the files, and StoreError where
    no evidence can be begun.
    """
    recording = (
        _of_run(source, plans, bench) if source.is_dir() else _of_capture(source, plans, bench)
    )
    load_libraries([case for plan in recording.plans for case in plan.cases])
    moment, rack = datetime.now(UTC), recording.rack
    folder = new_folder(reports, f"{moment:%Y%m%dT%H%M%SZ}-{rack.name}-again")
    evidence = Evidence(folder, None)
    about = describe(
        run=folder.name,
        started=moment,
        command=command,
        bench=rack.name,
        interface=f"none: judged again from {source.resolve().name}",
        stamps=recording.started.stamps,
    )
    write_about(folder, about)
    unreadable = _judge(recording, source, evidence)
    result, _ = evidence.close(about)
    remarks = list(recording.remarks)
    if unreadable:
        remarks.append(f"{counted(unreadable, 'datagram')} of the recording could not be read")
    faults = tuple(str(fault) for fault in evidence.faults)
    return JudgedAgain(result, folder, faults, tuple(remarks))


@dataclass(frozen=True, slots=True)
class _Recording:
    """What is judged again, and by what."""

    rack: Rack
    plans: tuple[Plan, ...]
    started: RunStarted
    events: list[Event]
    remarks: tuple[str, ...] = ()


def _of_run(source: Path, plans: tuple[str, ...], bench: str) -> _Recording:
    reader = JournalReader(source / journal.NAME)
    try:
        recorded = list(reader)
    except StoreError as error:
        raise _refused(source, str(error), _NAME_A_RUN) from error
    started = recorded[0] if recorded else None
    if not isinstance(started, RunStarted):
        raise _refused(source, "there is no journal of a run in it", _NAME_A_RUN)
    rack = read_rack(bench) if bench else _recorded_rack(source, recorded)
    files = plan_files(plans) if plans else [file for _, file, _ in started.plans]
    read_ones = read_plans_with_warnings(files, rack, plans).plans
    lines = counted(reader.unreadable, "line")
    remarks = (f"{lines} of the journal could not be read",) if reader.unreadable else ()
    return _Recording(rack, read_ones, started, recorded, remarks)


def _of_capture(source: Path, plans: tuple[str, ...], bench: str) -> _Recording:
    if source.name == journal.NAME:
        raise _refused(source, "this is the journal of a run", "name its folder")
    if not plans or not bench:
        what = "a capture does not say by which plans, and on which bench"
        raise _refused(source, what, "--plan FILE and --bench FILE")
    rack = read_rack(bench)
    # Whether what was driven was put back is nobody's question here.
    read_ones = tuple(
        replace(plan, cases=tuple(replace(case, restore=False) for case in plan.cases))
        for plan in read_plans_with_warnings(plan_files(plans), rack, plans).plans
    )
    try:
        left = list[int]()
        events = placed(read(source.read_bytes(), left.append), rack, read_ones)
    except (OSError, NoCapture) as error:
        why = error.strerror if isinstance(error, OSError) else str(error)
        raise _refused(source, str(why), "a pcapng or pcap file") from error
    started = events[0]
    assert isinstance(started, RunStarted)
    remarks = tuple(
        f"the capture is cut short: its last {each} octets are nothing whole" for each in left
    )
    return _Recording(rack, read_ones, started, events, remarks)


def _judge(recording: _Recording, source: Path, evidence: Evidence) -> int:
    """Judge; return how many recorded datagrams could not be read."""
    rack, plans, started, recorded = (
        recording.rack,
        recording.plans,
        recording.started,
        recording.events,
    )
    given = {plan.title: (plan.title, plan.file, plan.digest) for plan in plans}
    told = tuple(({each[0]: each for each in started.plans} | given).values())
    evidence.note(replace(started, plans=told, bench_digest=rack.digest))
    text = f"judged again from {source.resolve().name}: nothing was driven"
    evidence.note(HostNoted(at=Instant(0), trouble=JUDGED_AGAIN, amount=1, text=text))
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
    return judging.unreadable


def _recorded_rack(source: Path, recorded: list[Event]) -> Rack:
    for event in recorded:
        if isinstance(event, BenchFile):
            return read_rack_text(event.text, event.file)
    raise _refused(source, "its journal does not hold its bench file", "name one with --bench")


def _refused(source: Path, what: str, hint: str) -> DescriptionError:
    return DescriptionError([Mistake(Mark(str(source)), f"cannot be judged again: {what}", hint)])
