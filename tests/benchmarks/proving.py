"""Alarm proofs in virtual time: a 12-bit input with five bands, and the probes that a search needs.

The proof is that of fixtures/alarm-gauge-alarms.yaml with all its properties, from the files to the
reports.
"""

import contextlib
import io
import tempfile
import time
from pathlib import Path

from benchmarks.measure import Figure, show_time

from hil.alarms.search import Side, TripSearch, most_probes
from hil.core.event import AlarmPoint, Event
from hil.runner.options import Options
from hil.runner.proving import proofs
from hil.runner.run import run_plans

FIXTURES = Path(__file__).parent.parent.parent / "fixtures"
SPEC = FIXTURES / "alarm-gauge-alarms.yaml"
BENCH = FIXTURES / "alarm-gauge.yaml"
WANTED_SECONDS = 5.0
TOP = 4095


def prove(reports: str) -> tuple[float, list[Event]]:
    """Prove the whole spec; return the seconds it took and its events."""
    options = Options(plans=(str(SPEC),), bench=str(BENCH), virtual=True, reports=reports)
    events: list[Event] = []
    began = time.perf_counter()
    with contextlib.redirect_stdout(io.StringIO()):
        finished = run_plans(options, watch=events.append, say=lambda text: None, read=proofs())
    took = time.perf_counter() - began
    assert finished.code == 0, finished.result
    return took, events


def most_needed() -> int:
    """Search every step of a 12-bit range, rising and falling, from every eighth guess."""
    most = 0
    for rising in (True, False):
        for first in range(TOP + 1):
            search = TripSearch(low=0, high=TOP, rising=rising, expected=first // 8 * 8)
            while (count := search.next_probe()) is not None:
                beyond = count >= first if rising else count <= first
                search.answer(count, Side.BEYOND if beyond else Side.BEFORE)
            most = max(most, search.probes)
    return most


def figures() -> list[Figure]:
    with tempfile.TemporaryDirectory() as reports:
        runs = [prove(reports) for _ in range(3)]
    took = min(seconds for seconds, _ in runs)
    events = runs[0][1]
    probes = max(event.probes for event in events if isinstance(event, AlarmPoint))
    budget, needed = most_probes(0, TOP), most_needed()
    passed = max(event.at for event in events) / 1e9
    return [
        Figure(
            what=f"proof of five bands, 12 bits, {passed:.0f} s of virtual time",
            value=show_time(took),
            floor=f"{WANTED_SECONDS:g} s",
            ratio=took / WANTED_SECONDS,
            limit=1.0,
        ),
        Figure(
            what="probes of the longest search in it, of ceil(log2(4095)) + 3",
            value=str(probes),
            floor=str(budget),
            ratio=probes / budget,
            limit=1.0,
        ),
        Figure(
            what="probes for any step of 4096 counts, either direction",
            value=str(needed),
            floor=str(budget),
            ratio=needed / budget,
            limit=1.0,
        ),
    ]
