"""A rack of one independent node process, plans for it, and `hil` as a process, for the tests.

The node (plain_node.py) is made of `struct` and a socket; the tests ask it themselves where its
arm is, so that "safe" is what the node says and not what the runner believes.
"""

import json
import os
import select
import socket
import subprocess
import sys
import time
from pathlib import Path

from wall.marks import at, forget
from wall.plain_node import NODE, READ, READING, REQUEST, bench_text, sealed

from hil.bench.mark import needs_repair

NODE_FILE = Path(__file__).parent / "plain_node.py"
PATIENCE = 20.0

LONG = """\
plan: Gauge
cases:
  - case: the lamp turns red
    steps:
      - stimulus: {gauge.pressure: 4.8 bar}
        expect: [{signal: gauge.lamp, value: red, within: 500 ms}]
  - case: the arm stays where it is put
    steps:
      - stimulus: {gauge.arm: 45 deg}
        expect: [{signal: gauge.arm, value: 45 deg, tolerance: 1 deg, during: 2 s to 10 s}]
  - case: the arm comes back
    steps:
      - stimulus: {gauge.arm: -30 deg}
        expect: [{signal: gauge.arm, value: -30 deg, tolerance: 1 deg, within: 500 ms}]
"""

SHORT = """\
plan: Gauge
cases:
  - case: the arm reaches its angle
    vary: {angle: [-45 deg, 45 deg]}
    steps:
      - stimulus: {gauge.arm: "${angle}"}
        expect: [{signal: gauge.arm, value: "${angle}", tolerance: 1 deg, within: 500 ms}]
"""


class Rack:
    """The node's process and everything in a folder; `close` ends every process it started."""

    def __init__(self, folder: Path, plan: str, *options: str) -> None:
        self.folder = folder
        self._processes: list[subprocess.Popen[str]] = []
        node = self._start([sys.executable, str(NODE_FILE), "0", *options])
        assert node.stdout is not None
        self.port = int(node.stdout.readline().split()[1])
        self.node = node
        forget([self.port])
        (folder / "bench.yaml").write_text(bench_text(self.port))
        (folder / "plan.yaml").write_text(plan)
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.connect(("127.0.0.1", self.port))

    def hil(self, *words: str, prefix: tuple[str, ...] = ()) -> "subprocess.Popen[str]":
        """Start `hil` in the folder."""
        return self._start([*prefix, sys.executable, "-m", "hil", *words])

    def run(self, *words: str, prefix: tuple[str, ...] = ()) -> "subprocess.Popen[str]":
        """Start a run of the plan."""
        return self.hil("run", "plan.yaml", "--bench", "bench.yaml", *words, prefix=prefix)

    def arm(self) -> float:
        """Ask the node where its arm is, in degrees."""
        self._socket.send(sealed(REQUEST, 0x21, NODE, 65_000, READ, 0))
        while True:
            assert select.select([self._socket], [], [], PATIENCE)[0], "the node does not answer"
            datagram = self._socket.recv(65_535)
            if len(datagram) == READING.size and datagram[0] == 0x31:
                return READING.unpack(datagram)[7] / 10

    def wait_for_arm(self, angle: float) -> float:
        """Wait until the node says that its arm is there; return how long that took."""
        began = time.monotonic()
        while self.arm() != angle:
            assert time.monotonic() - began < PATIENCE, f"the arm never came to {angle}"
            select.select([], [], [], 0.005)  # between two questions: it is the node that is timed
        return time.monotonic() - began

    def run_name(self) -> str:
        """Return the name of the latest run."""
        return (self.folder / "reports" / "latest").resolve().name

    def journal(self) -> list[dict[str, object]]:
        """Return the lines of the latest journal."""
        text = (self.folder / "reports" / "latest" / "journal.jsonl").read_text()
        return [json.loads(line) for line in text.splitlines()]

    def close(self) -> None:
        self._socket.close()
        for process in reversed(self._processes):
            if process.poll() is None:
                process.kill()
            process.communicate()
        forget([self.port])

    def needs_repair(self) -> bool:
        """Say whether the last run left the node without proof that it is safe."""
        return needs_repair([at(self.port)]) is not None

    def _start(self, command: list[str]) -> "subprocess.Popen[str]":
        environment = os.environ | {"PYTHONWARNINGS": "error"}
        process = subprocess.Popen(
            command,
            cwd=self.folder,
            env=environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self._processes.append(process)
        return process


def finish(process: "subprocess.Popen[str]") -> tuple[int, str, str]:
    """Wait for a process; return its exit code and what it printed."""
    out, err = process.communicate(timeout=PATIENCE + 20)
    return process.returncode, out, err
