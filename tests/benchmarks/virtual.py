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
from hil.nodes.feedline import Feedline
from hil.nodes.glasshouse import FAMILIES, Family
from hil.nodes.rack import SoftwareRack
from hil.nodes.settings import GLASSHOUSE
from hil.report.journal import JournalWriter
from hil.runner.options import Options
from hil.runner.run import run_plans
from hil.wire.link import Links

ROOT = Path(__file__).parent.parent.parent
BENCH = ROOT / "fixtures" / "glasshouse.yaml"
FIRST_NODE = ROOT / "fixtures" / "first-node.yaml"
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


def ten_sensors(folder: Path) -> Path:
    """Write a bench file of ten pressure sensors that say something ten times a second each."""
    head, _, rest = FIRST_NODE.read_text(encoding="utf-8").partition("\nnodes:\n")
    node, _, software = rest.partition("\n# The software")
    names = [f"sensor-{number}" for number in range(1, 11)]
    nodes = [
        node.replace("feedline:", f"{name}:")
        .replace("number: 1", f"number: {number}")
        .replace("47801", str(47_800 + number))
        .replace("GH-0101", f"GH-{number:04}")
        for number, name in enumerate(names, 1)
    ]
    path = folder / "ten-sensors.yaml"
    text = f"{head}\nnodes:\n{''.join(nodes)}\n# The software{software}"
    path.write_text(text.replace("model: glasshouse", "model: ten-sensors"), encoding="utf-8")
    family = Family(
        models=dict.fromkeys(names, Feedline), rules=GLASSHOUSE, misfits=lambda settings: ()
    )
    FAMILIES["ten-sensors"] = family  # type: ignore[index]  # for this benchmark alone
    return path


def hour(path: Path, folder: Path) -> tuple[float, int]:
    """Let a rack talk for an hour of virtual time; return seconds and datagrams received."""
    rack = read_rack(path)
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
        for what, bench in (
            ("ten sensors at 10 Hz", ten_sensors(reports)),
            ("the glasshouse, which polls and talks among itself as well", BENCH),
        ):
            folder = Path(tempfile.mkdtemp(dir=reports))
            took, received = hour(bench, folder)
            made.append(
                Figure(
                    what=f"an hour of {what}: {received} datagrams, journalled",
                    value=show_time(took),
                    floor="5 s",
                    ratio=took / 5,
                    limit=1.0,
                )
            )
    return made
