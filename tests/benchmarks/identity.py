"""Making sure of every node before each case, and looking for all of them, in virtual time.

The floor of the first figure is the same run without the question.
"""

import time
from collections.abc import Callable, Sequence
from pathlib import Path

from benchmarks.measure import Figure, show_time

from hil.bench.loop import drive
from hil.bench.segment import segment_medium
from hil.bench.virtual import VirtualBench
from hil.core.engine import Run
from hil.core.instant import MILLISECOND, Instant
from hil.core.plan import Case
from hil.core.verdict import Outcome
from hil.files.read import read_plans, read_rack
from hil.nodes.rack import SoftwareRack
from hil.runner.scan import scan_virtually
from hil.runner.selection import nodes_used, plan_files
from hil.wire.link import Links
from hil.wire.rack import Rack

ROOT = Path(__file__).parent.parent.parent
TIMES = 3


def run(
    rack: Rack, cases: Sequence[Case], confirm: Callable[[Case], Sequence[str]]
) -> tuple[float, float]:
    """Run the cases; return seconds of the processor, and of virtual time."""
    nodes = SoftwareRack(rack, Instant(0))
    bench = VirtualBench(rack, nodes, medium=segment_medium(rack, Instant(0)))
    while not nodes.settled:
        bench.wait(Instant(bench.now() + MILLISECOND))
    start = bench.now()
    machine = Run(signals=rack.signals(), cases=cases, start=start, confirm=confirm)
    began = time.process_time()
    drive(machine, Links(rack, start), bench, lambda event: None, origin=start)
    assert machine.outcome is Outcome.PASS, machine.counts
    return time.process_time() - began, (bench.now() - start) / 1e9


def figures() -> list[Figure]:
    rack = read_rack(ROOT / "fixtures" / "glasshouse.yaml")
    files = [file for file in plan_files([str(ROOT / "testplans")]) if Path(file).name < "16"]
    cases = [case for plan in read_plans(files, rack) for case in plan.cases]
    asked = min(run(rack, cases, lambda case: nodes_used(rack, (case,))) for _ in range(TIMES))
    unasked = min(run(rack, cases, lambda case: ()) for _ in range(TIMES))
    began = time.process_time()
    found = scan_virtually(rack)
    scanned = time.process_time() - began
    return [
        Figure(
            what=f"asking every node who it is before each of {len(cases)} cases",
            value=show_time(asked[0]),
            floor=f"without, {show_time(unasked[0])}",
            ratio=asked[0] / unasked[0],
            limit=1.25,
        ),
        Figure(
            what="the same, in virtual time on the rack",
            value=show_time(asked[1]),
            floor=f"without, {show_time(unasked[1])}",
            ratio=asked[1] / unasked[1],
            limit=1.05,
        ),
        Figure(
            what=f"a scan of {len(found.sightings)} nodes in three rounds",
            value=show_time(scanned),
            floor="100 ms",
            ratio=scanned / 0.1,
            limit=1,
        ),
    ]
