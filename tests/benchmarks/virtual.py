"""Virtual time: the demo against wall time, an hour of traffic, and runs that are the same.

The wall figure is the floor: the whole demo once over real UDP, from the first case to the last.
"""

import contextlib
import hashlib
import io
import tempfile
import time
from pathlib import Path

from benchmarks.measure import Figure, show_time

from hil.bench.loop import drive
from hil.bench.virtual import VirtualBench
from hil.core.engine import Run
from hil.core.error import Mark
from hil.core.instant import SECOND, Duration, Instant
from hil.core.plan import Case, Step
from hil.files.read import read_rack
from hil.nodes.rack import SoftwareRack
from hil.report.journal import JournalWriter
from hil.runner.options import Options
from hil.runner.run import run_plans
from hil.wire.link import Links

ROOT = Path(__file__).parent.parent.parent
BENCH = ROOT / "fixtures" / "glasshouse.yaml"
PLANS = ROOT / "testplans"
HOUR = Duration(3600 * SECOND)
MARK = Mark("benchmark")


def demo(reports: Path, *, virtual: bool) -> tuple[float, Path]:
    """Run the whole demo; return its seconds from first to last case, and its folder."""
    options = Options(plans=(str(PLANS),), bench=str(BENCH), virtual=virtual, reports=str(reports))
    began: list[float] = []
    ended: list[float] = []

    def watch(event: object) -> None:
        ended[:] = [time.perf_counter()]
        if not began:
            began.append(ended[0])

    with contextlib.redirect_stdout(io.StringIO()):
        finished = run_plans(options, watch=watch, say=lambda text: None)
    assert finished.code == 0, finished.result
    return ended[0] - began[0], finished.folder


def hour(folder: Path) -> tuple[float, int]:
    """Let ten nodes talk for an hour of virtual time; return seconds and datagrams received."""
    rack = read_rack(BENCH)
    pause = Step(stimuli=(), expectations=(), wait=HOUR, mark=MARK)
    case = Case(
        plan="benchmark",
        title="an hour",
        variation="",
        requirements=(),
        tags=(),
        precondition=(),
        steps=(pause,),
        restore=True,
        reboots=(),
        skip="",
        mark=MARK,
    )
    start = Instant(0)
    bench = VirtualBench(rack, SoftwareRack(rack, start), start=start)
    run = Run(signals=rack.signals(), cases=[case], start=start)
    journal = JournalWriter(folder)
    began = time.perf_counter()
    drive(
        run,
        Links(rack, start),
        bench,
        journal.record,
        origin=start,
        record_datagram=journal.record_datagram,
    )
    took = time.perf_counter() - began
    journal.close()
    received = journal.path.read_bytes().count(b'"way":"in"')
    return took, received


def figures() -> list[Figure]:
    made: list[Figure] = []
    with tempfile.TemporaryDirectory() as name:
        reports = Path(name)
        virtual = min(demo(reports / "virtual", virtual=True)[0] for _ in range(3))
        wall, _ = demo(reports / "wall", virtual=False)
        made.append(
            Figure(
                what="the whole demo, virtual time against wall time",
                value=show_time(virtual),
                floor=show_time(wall),
                ratio=wall / virtual,
                limit=100,
                at_least=True,
            )
        )
        digests = set()
        for number in range(20):
            _, folder = demo(reports / f"same-{number}", virtual=True)
            digests.add(hashlib.sha256((folder / "journal.jsonl").read_bytes()).hexdigest())
        made.append(
            Figure(
                what="different journals in 20 virtual runs of the demo",
                value=str(len(digests)),
                floor="1",
                ratio=float(len(digests)),
                limit=1.0,
            )
        )
        folder = reports / "hour"
        folder.mkdir()
        took, received = hour(folder)
        made.append(
            Figure(
                what=f"an hour of ten nodes at 10 Hz, {received} datagrams, journalled",
                value=show_time(took),
                floor="5 s",
                ratio=took / 5,
                limit=1.0,
            )
        )
    return made
