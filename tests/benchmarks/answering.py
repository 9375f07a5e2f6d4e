"""One stimulus and its answer through the runner, against a bare blocking socket.

Both talk to the same node process (tests/wall/plain_node.py) in turn.  One round is a request,
the node's answer and the reading that shows the change: the bare socket receives both and looks
at neither.  The node is kept on one core and the one who asks on another, as on a bench: left
alone, the kernel runs a bare ping-pong on one core, where the other side never has to be woken.
"""

import itertools
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from decimal import Decimal
from pathlib import Path

from benchmarks.measure import Figure, show_time

WALL = Path(__file__).parent.parent / "wall"
sys.path.insert(0, str(WALL))

import plain_node  # noqa: E402

from hil.bench.loop import drive  # noqa: E402
from hil.bench.rig import open_wall  # noqa: E402
from hil.core.engine import Run  # noqa: E402
from hil.core.error import Mark  # noqa: E402
from hil.core.event import CommandLogged, Event  # noqa: E402
from hil.core.instant import MILLISECOND, ZERO, Duration  # noqa: E402
from hil.core.plan import Case, Expectation, Limits, Step, Stimulus, Timing  # noqa: E402
from hil.core.verdict import Outcome  # noqa: E402
from hil.files.read import read_rack  # noqa: E402
from hil.report.journal import JournalWriter  # noqa: E402
from hil.wire.link import Links  # noqa: E402
from hil.wire.rack import Rack  # noqa: E402

MARK = Mark("benchmark")
ROUNDS = 5
STEPS = 400


class NodeProcess:
    """The plain node as a process of its own, ended when the block ends."""

    def __init__(self, *options: str) -> None:
        command = [sys.executable, str(WALL / "plain_node.py"), "0", *options]
        self.process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert self.process.stdout is not None
        self.port = int(self.process.stdout.readline().split()[1])

    def keep_apart(self) -> None:
        """Keep the node on the last core and this process on the first, where there are two."""
        cores = sorted(os.sched_getaffinity(0))
        os.sched_setaffinity(self.process.pid, {cores[-1]})
        os.sched_setaffinity(0, {cores[0]})

    def rack(self, folder: Path) -> Rack:
        file = folder / "plain.yaml"
        file.write_text(plain_node.bench_text(self.port), encoding="utf-8")
        return read_rack(file)

    def __enter__(self) -> "NodeProcess":
        return self

    def __exit__(self, *_: object) -> None:
        assert self.process.stdin is not None
        self.process.stdin.close()
        self.process.wait(5)
        assert self.process.stdout is not None
        self.process.stdout.close()


def bare_rounds(port: int, count: int) -> list[int]:
    """Return the time of each round of a bare blocking socket, in ns."""
    times = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.connect(("127.0.0.1", port))
        requests = [
            plain_node.sealed(
                plain_node.REQUEST, 0x21, plain_node.NODE, number, 2, 100 + number % 2
            )
            for number in range(1, count + 1)
        ]
        for request in requests:
            began = time.perf_counter_ns()
            sock.send(request)
            sock.recv(2048)
            sock.recv(2048)
            times.append(time.perf_counter_ns() - began)
    return times


def steps(count: int) -> tuple[Step, ...]:
    """Make steps that set a pressure and expect the reading to show it."""
    made = []
    for number in range(count):
        value = Decimal(1 + number % 2)
        expectation = Expectation(
            signals=("gauge.pressure",),
            condition=Limits(low=value, high=value, target=value),
            timing=Timing(within=Duration(200 * MILLISECOND)),
            wanted=f"{value} bar",
            when="within 200 ms",
            mark=MARK,
        )
        stimulus = Stimulus(signal="gauge.pressure", value=value, mark=MARK)
        made.append(Step(stimuli=(stimulus,), expectations=(expectation,), wait=ZERO, mark=MARK))
    return tuple(made)


def runner_rounds(rack: Rack, folder: Path, count: int) -> list[int]:
    """Return the time from one stimulus to the next through the whole runner, in ns."""
    case = Case(
        plan="benchmark",
        title="rounds",
        variation="",
        requirements=(),
        tags=(),
        precondition=(),
        steps=steps(count),
        restore=True,
        reboots=(),
        skip="",
        mark=MARK,
    )
    bench = open_wall(rack)
    journal = JournalWriter(folder)
    events: list[Event] = []
    try:
        origin = bench.now()
        run = Run(signals=rack.signals(), cases=[case], start=origin)
        drive(run, Links(rack, origin), bench, journal.record, origin=origin, observe=events.append)
    finally:
        bench.close()
        journal.close()
    assert run.outcome is Outcome.PASS, run.counts
    sent = [
        event.at
        for event in events
        if isinstance(event, CommandLogged) and (event.purpose, event.state) == ("stimulus", "sent")
    ]
    return [later - earlier for earlier, later in itertools.pairwise(sent)]


def figures() -> list[Figure]:
    """Measure in turn, median over all rounds."""
    bare: list[int] = []
    ours: list[int] = []
    cores = os.sched_getaffinity(0)
    with tempfile.TemporaryDirectory() as name, NodeProcess() as node:
        rack = node.rack(Path(name))
        node.keep_apart()
        try:
            for number in range(ROUNDS):
                folder = Path(name) / str(number)
                folder.mkdir()
                bare += bare_rounds(node.port, STEPS)
                ours += runner_rounds(rack, folder, STEPS)
        finally:
            os.sched_setaffinity(0, cores)
    floor, value = statistics.median(bare), statistics.median(ours)
    return [
        Figure(
            what="one stimulus and answer through the runner, median",
            value=show_time(value / 1e9),
            floor=show_time(floor / 1e9),
            ratio=value / floor,
            limit=3.0,
        )
    ]
