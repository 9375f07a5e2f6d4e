"""Benches and plans for the talker, and running them as a process."""

import json
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

from hil.bench.mark import Mark
from hil.files.read import read_rack
from hil.wire.rack import Address

PROGRAM = Path(__file__).parent / "talker.py"
NODE = """\
  {name}:
    number: {number}
    serial: {serial}
    answer-within: {within}
    console:
      device: {device}
      rate: 115200
      boot: 'boot: ok.*'
      {extra}
      identify: {{send: id, answer: 'id serial=(?P<serial>\\S+) firmware=(?P<firmware>\\S+)'}}
      read: {{send: status, every: 50 ms}}
      readings: ['status boots=(?P<boots>\\d+) rate=(?P<rate>\\d+)']
      accept: 'ok (?P<value>\\d+)'
      refuse: 'err (?P<why>.+)'
      commands: {{rate: 'rate {{value}}'}}
    signals:
      rate: {{unit: rpm, range: 0 rpm to 100 rpm, stale-after: 2 s, drive: {{safe: 7 rpm}}}}
"""
PLAN = """\
plan: Talking
cases:
  - case: it does what it is told
    steps:
      - stimulus: {pump.rate: 42 rpm}
        expect: [{signal: pump.rate, value: 42 rpm, within: 500 ms, hold: 100 ms}]
"""


class Peer:
    """A running talker: `heard` is what it has heard so far, once it has ended."""

    def __init__(self, *words):
        self.process = subprocess.Popen(
            [sys.executable, str(PROGRAM), *words],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self.device = self.process.stdout.readline().strip()

    def unplug(self):
        self.process.stdin.write("unplug\n")
        self.process.stdin.flush()

    def end(self):
        """Let it end; return the lines that it heard."""
        out, _ = self.process.communicate(timeout=10)
        return [line.strip() for line in out.splitlines()]


@contextmanager
def talking(*words):
    peer = Peer(*words)
    mark = Mark(Address(peer.device, 0))  # the terminal of another test had the same number
    mark.clear()
    try:
        yield peer
    finally:
        mark.clear()
        if peer.process.poll() is None:
            peer.process.kill()
            peer.process.wait()
        for pipe in (peer.process.stdin, peer.process.stdout):
            pipe.close()


def node(device, name="pump", number=1, serial="PU-1", within="200 ms", extra="echo: yes"):
    return NODE.format(
        name=name, number=number, serial=serial, device=device, within=within, extra=extra
    )


def rack_of(folder, *nodes):
    """Write a bench file into the folder and read it."""
    text = f"bench: talkers\ninterface: lo\nhost: 127.0.0.1\nnodes:\n{''.join(nodes)}"
    (folder / "bench.yaml").write_text(text)
    return read_rack(folder / "bench.yaml")


def begin(folder, *nodes, plan=PLAN):
    """Start a run; the bench and the plan are written into the folder."""
    rack_of(folder, *nodes)
    (folder / "plan.yaml").write_text(plan)
    return subprocess.Popen(
        [sys.executable, "-m", "hil", "run", "--bench", "bench.yaml", "plan.yaml"],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def run(folder, *nodes, plan=PLAN):
    """Run; return the exit code, what was printed, and the journal."""
    process = begin(folder, *nodes, plan=plan)
    out, _ = process.communicate(timeout=60)
    return process.returncode, out, journal(folder)


def journal(folder):
    path = folder / "reports" / "latest" / "journal.jsonl"
    return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []


def events(lines, kind):
    return [line for line in lines if line["event"] == kind]
