"""A run from the files to the exit code.

    read files → select → site → journal → session on the bench → reports → exit code

Whatever happens, evidence is closed and the site is settled: an exception of ours ends the run as
a bug (exit code 4) with the guard making the rack safe.
"""

import gc
import traceback
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import hil
from hil.bench.aside import Aside
from hil.bench.hands import Hands
from hil.bench.interrupt import Interrupts
from hil.bench.loop import drive
from hil.core.error import BenchError, StoreError
from hil.core.event import HostNoted, RunStarted
from hil.core.instant import Instant
from hil.core.observation import Abort
from hil.files.read import read_known, read_plans_with_warnings, read_rack_for
from hil.measure.libraries import load_libraries
from hil.report.about import About, describe, write_about
from hil.report.exit_code import ExitCode, exit_code
from hil.report.result import RunResult
from hil.report.store import forget_latest, new_folder, point_latest
from hil.runner.absence import asked_of_a_person, without_a_person
from hil.runner.bus import BusWatch, refuse_wrong_segment
from hil.runner.bus_alarm import BusAlarm
from hil.runner.evidence import Evidence, Watch
from hil.runner.explaining import explainer
from hil.runner.identity import bench_file
from hil.runner.known import unmatched
from hil.runner.losses import noting_losses
from hil.runner.options import Options
from hil.runner.remembering import remembered
from hil.runner.selection import Selection, plan_files, select
from hil.runner.session import Session
from hil.runner.site import Say, Site, virtual_site, wall_site
from hil.runner.specs import told_specs
from hil.wire.rack import Rack


@dataclass(frozen=True, slots=True, kw_only=True)
class Finished:
    """How a run ended; `crash` is the traceback of a bug of ours, `faults` go to the terminal.

    `changed` says in one line what changed since the runs before, where anything did.
    """

    code: int
    result: RunResult
    folder: Path
    junit: Path | None
    faults: tuple[str, ...]
    crash: str
    changed: str = ""


Read = Callable[[Options], tuple[Rack, Selection]]


def read_files(options: Options) -> tuple[Rack, Selection]:
    """Read bench and plans and choose the cases.  Raises DescriptionError."""
    files = plan_files(options.plans)
    rack = read_rack_for(options.bench, files)
    reading = read_plans_with_warnings(files, rack, options.plans)
    odd = refuse_wrong_segment(rack, reading.plans)
    plans = reading.plans
    if not options.terminal:
        plans = without_a_person(plans, options.unattended)
    selection = select(plans, options)
    known = read_known(options.known, rack) if options.known else ()
    warnings = (*reading.warnings, *odd, *unmatched(known, reading.plans))
    remark = reading.passed_over
    return rack, replace(selection, warnings=warnings, remark=remark, known=known)


def run_plans(
    options: Options,
    *,
    watch: Watch | None = None,
    say: Say = print,
    read: Read = read_files,
    lead: Aside | None = None,
) -> Finished:
    """Run plans.  `watch` sees every event but datagrams; `say` gets remarks for people.

    `read` reads the bench and makes the cases (hil.runner.proving has another).  With `lead` the
    run waits before each case for that to let it go on (hil.runner.conductor).  Raises
    DescriptionError, BenchError and StoreError for what is wrong before anything moves.
    """
    reports = Path(options.reports)
    forget_latest(reports)
    rack, selection = read(options)
    load_libraries(selection.cases)
    for warning in selection.warnings:
        say(str(warning))
    if selection.remark:
        say(selection.remark)
    started = datetime.now(UTC)
    name = f"{started:%Y%m%dT%H%M%SZ}-{rack.name}"
    asks = any(asked_of_a_person(case) for case in selection.cases if not case.skip)
    at = options.terminal if asks else ""
    with Interrupts() as interrupts, _site(rack, name, options, interrupts, say, at) as site:
        folder = new_folder(reports, name)
        evidence = Evidence(folder, watch, f"{started:%Y-%m-%d}")
        about = describe(
            run=folder.name,
            started=started,
            command=options.command,
            bench=rack.name,
            interface="virtual" if options.virtual else rack.interface,
            stamps=site.bench.stamps,
        )
        write_about(folder, about)
        point_latest(folder)
        crash = _sit(rack, selection, options, site, evidence, lead)
        finished = _finish(evidence, about, crash)
    return remembered(_with_faults(finished, site), options)


def _site(
    rack: Rack, name: str, options: Options, interrupts: Interrupts, say: Say, terminal: str
) -> AbstractContextManager[Site]:
    if options.virtual:
        return virtual_site(rack, interrupts)
    return wall_site(rack, name, interrupts, say, served=options.served, terminal=terminal)


def _sit(
    rack: Rack,
    selection: Selection,
    options: Options,
    site: Site,
    evidence: Evidence,
    lead: Aside | None,
) -> str:
    """Hold the session; return the traceback where it broke, else nothing."""
    _begin(rack, selection, options, site, evidence)
    watch = _watch_bus(rack, selection, site, evidence)
    session: Session | None = None
    gc.freeze()  # what was read stays; the collector need not walk it while the run judges
    try:
        start = site.bench.now()
        session = Session(
            rack,
            selection.cases,
            start,
            retries=options.retries,
            repair=site.repair,
            explain=explainer(rack),
            hear=watch.hear if watch.listens else None,
            depart=None if site.relay is None else watch.depart,
            paced=lead is not None,
        )
        links = Hands(rack, start, keyboard=site.keyboard, workshop=site.workshop)
        early, _ = site.bench.wait(start)  # what opening and building took is no lateness
        for arrival in early:
            if isinstance(arrival.thing, Abort):
                session.receive(arrival.thing, start)
        if lead is not None:
            site.bench.heed(lead)
        drive(
            session,
            links,
            site.bench,
            noting_losses(watch.record, evidence.note, links, (node.name for node in rack.nodes)),
            origin=start,
            observe=watch.observe,
            record_datagram=evidence.record_datagram,
            addresses={node.name: node.address for node in rack.nodes},
        )
        site.safe = session.safe
    except BenchError as error:
        _note_break(evidence, "bench broke", str(error))
    except Exception:
        _note_break(evidence, "tool broke", traceback.format_exc(limit=-1).splitlines()[-1])
        return traceback.format_exc()
    finally:
        gc.unfreeze()
        site.moved = session is not None and session.moved
        unseen = session.unseen if session is not None else frozenset()
        site.distrusted = frozenset(session.distrusted if session is not None else ())
        site.unseen = frozenset(node.address for node in rack.nodes if node.name in unseen)
    return ""


def _begin(
    rack: Rack, selection: Selection, options: Options, site: Site, evidence: Evidence
) -> None:
    """Write down what is run, and by which files."""
    evidence.note(_started(rack, selection, options, site))
    if (described := bench_file(rack)) is not None:
        evidence.record(described)
    for told in (*selection.known, *told_specs(selection.cases)):
        evidence.note(told)


def _watch_bus(rack: Rack, selection: Selection, site: Site, evidence: Evidence) -> BusWatch:
    """Have an eye on the segment; where it can tell of a second coordinator, it may end the run."""
    alarm = BusAlarm()
    watch = BusWatch(
        rack,
        evidence,
        medium=site.medium,
        health=site.health,
        relay=site.relay,
        cases=selection.cases,
        alarm=alarm,
    )
    if watch.may_end:
        site.bench.heed(alarm)
    return watch


def _started(rack: Rack, selection: Selection, options: Options, site: Site) -> RunStarted:
    return RunStarted(
        at=Instant(0),
        tool=f"rackproof {hil.__version__}",
        bench=rack.name,
        bench_file=rack.file,
        bench_digest=rack.digest,
        virtual=options.virtual,
        stamps=site.bench.stamps,
        plans=tuple((plan.title, plan.file, plan.digest) for plan in selection.plans),
        cases=tuple(
            (file, case.title) for file, case in zip(selection.files, selection.cases, strict=True)
        ),
    )


def _note_break(evidence: Evidence, trouble: str, text: str) -> None:
    at = evidence.last_at
    evidence.note(HostNoted(at=at, trouble=trouble, amount=1, text=text))


def _finish(evidence: Evidence, about: About, crash: str) -> Finished:
    result, junit = evidence.close(about)
    try:
        point_latest(evidence.folder)
    except StoreError as error:
        evidence.faults.append(error)
    code = exit_code(result, store_fault=bool(evidence.faults), bug=bool(crash))
    return Finished(
        code=code,
        result=result,
        folder=evidence.folder,
        junit=junit,
        faults=tuple(str(fault) for fault in evidence.faults),
        crash=crash,
    )


def _with_faults(finished: Finished, site: Site) -> Finished:
    """Add what went wrong while the site was given back."""
    if not site.faults:
        return finished
    faults = (*finished.faults, *site.faults)
    return replace(finished, code=max(finished.code, int(ExitCode.BENCH)), faults=faults)
