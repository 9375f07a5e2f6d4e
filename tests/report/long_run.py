"""The journal of a long run on paper: cases that passed, some that failed, with their datagrams.

Everything is drawn from the places in the run, so that two makings are the same.
"""

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

from hil.core.event import (
    ActuatorSafe,
    BenchFile,
    CaseEnded,
    CaseStarted,
    CheckDecided,
    CommandLogged,
    Datagram,
    Event,
    NodeIdentified,
    RunEnded,
    RunStarted,
    StepStarted,
)
from hil.core.instant import Instant
from hil.core.signal import show_number
from hil.files.read import read_rack
from hil.report.journal import JournalWriter
from hil.wire.layout import Codec
from hil.wire.rack import Role

MILLISECOND = 1_000_000
CASE = 400 * MILLISECOND
BENCH = Path(__file__).parents[2] / "fixtures" / "glasshouse.yaml"
PLANS = 20
READINGS = 12
SIGNAL = "feedline.pressure"


def write_long_run(folder: Path, cases: int, failed: int) -> None:
    """Write the journal of a run of so many cases, of which so many failed, evenly spread."""
    writer = JournalWriter(folder)
    for event in long_run(cases, failed):
        writer.record(event)
    writer.close()


def long_run(cases: int, failed: int) -> Iterator[Event]:
    """Yield the events of the run."""
    text = BENCH.read_text(encoding="utf-8")
    rack = read_rack(BENCH)
    plans = [f"testplans/{at:02d}-part.yaml" for at in range(PLANS)]
    of_case = [plans[at * PLANS // cases] for at in range(cases)]
    wrong = {at * cases // failed for at in range(failed)} if failed else set()
    yield RunStarted(
        at=Instant(0),
        tool="rackproof",
        bench="glasshouse",
        bench_file="fixtures/glasshouse.yaml",
        bench_digest=rack.digest,
        virtual=False,
        stamps="kernel",
        plans=tuple((f"Part {at}", file, "ab" * 32) for at, file in enumerate(plans)),
        cases=tuple((of_case[at], _title(at)) for at in range(cases)),
    )
    yield BenchFile(at=Instant(0), file="fixtures/glasshouse.yaml", digest=rack.digest, text=text)
    for node in rack.nodes:
        yield NodeIdentified(
            at=Instant(0), node=node.name, serial=node.identity.serial, firmware="1.4.2", boots=1
        )
    feedline = next(node for node in rack.nodes if node.name == "feedline")
    layout = next(layout for layout in feedline.layouts if layout.role is Role.READING)
    codec = Codec(layout, feedline)
    for index in range(cases):
        yield from _case(index, of_case[index], index in wrong, codec)
    end = Instant(cases * CASE)
    yield ActuatorSafe(at=end, signal=SIGNAL, value="2.40 bar", confirmed=True, actuator=False)
    outcome = "fail" if failed else "pass"
    yield RunEnded(at=end, outcome=outcome, counts={}, aborted="", safe=True)


def _title(index: int) -> str:
    return f"the pressure sensor follows what is imposed on it [{index}, {index % 7}.50 bar]"


def _case(index: int, plan: str, wrong: bool, codec: Codec) -> Iterator[Event]:
    at, place = index * CASE, f"{plan}:{index % 500 + 3}:5"
    wanted = Decimal(index % 7) + Decimal("0.50")
    yield CaseStarted(
        at=Instant(at),
        index=index,
        plan=plan,
        case=_title(index),
        attempt=1,
        place=place,
        requirements=(f"GH-{index % 40}",),
        tags=("nightly",),
    )
    yield StepStarted(at=Instant(at), index=index, step=1, place=place)
    stimulus = CommandLogged(
        at=Instant(at + MILLISECOND),
        token=index,
        signal=SIGNAL,
        value=f"{wanted} bar",
        purpose="stimulus",
        state="sent",
    )
    yield stimulus
    yield replace(stimulus, at=Instant(at + 3 * MILLISECOND), state="accepted")
    for turn in range(READINGS):
        yield _reading(codec, index, turn, at, wanted, wrong)
    checks = [_check(index, turn, at, place, wanted, wrong) for turn in range(3)]
    yield from checks
    bad = tuple(check.text for check in checks if check.outcome != "pass")
    yield CaseEnded(
        at=Instant(at + 300 * MILLISECOND),
        index=index,
        plan=plan,
        case=_title(index),
        outcome="fail" if bad else "pass",
        attempt=1,
        took=300 * MILLISECOND,
        reasons=bad,
    )


def _reading(
    codec: Codec, index: int, turn: int, at: int, wanted: Decimal, wrong: bool
) -> Datagram:
    reached = wanted * (Decimal("0.80") if wrong else 1) * (turn + 1) / READINGS
    values = {
        "serial": "GH-0101",
        "firmware": "1.4.2",
        "pressure": reached.quantize(Decimal("0.01")),
        "fault": "none",
        "power": "run",
    }
    sequence = index * READINGS + turn
    octets = codec.encode(values, sequence=sequence, boots=1, uptime=at)
    when = Instant(at + 2 * MILLISECOND + turn * 20 * MILLISECOND)
    return Datagram(at=when, way="in", node="feedline", hex=octets.hex())


def _check(
    index: int, turn: int, at: int, place: str, wanted: Decimal, wrong: bool
) -> CheckDecided:
    bad = wrong and turn == 2
    low, high = wanted - Decimal("0.05"), wanted + Decimal("0.05")
    got = wanted * (Decimal("0.80") if bad else 1)
    shown = f"{show_number(got)} bar"
    ends = "at the deadline, 250 ms after the stimulus" if bad else "in time"
    return CheckDecided(
        at=Instant(at + 251 * MILLISECOND),
        index=index,
        step=1,
        signal=SIGNAL,
        node="feedline",
        wanted=f"{wanted} bar ± 0.05 bar",
        when="within 250 ms",
        outcome="fail" if bad else "pass",
        got=shown,
        elapsed=None if bad else (40 + turn) * MILLISECOND,
        change=None,
        margin=-0.5 if bad else 0.25 * (turn + 1),
        gap=20 * MILLISECOND,
        seen=READINGS,
        text=f"{_title(index)}, step 1: {SIGNAL} was {shown}, wanted {wanted} bar {ends}",
        place=place,
        last="310a0b",
        stimulus=at + MILLISECOND,
        limits=("between", str(low), str(high), str(wanted)),
        timing=(("within", 250 * MILLISECOND),),
    )
