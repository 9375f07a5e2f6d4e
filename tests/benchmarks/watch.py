"""What `hil watch` costs: CPU time of its process against the clock, 100 signals at 50 Hz.

The nodes are one process of plain sockets and `struct`, which knows nothing of this project.  The
table is drawn on a pseudo-terminal of 120 × 40 as fast as `hil watch` draws it by itself, and the
processor time is what the kernel has counted for the process, after it has started up.
"""

import fcntl
import os
import pty
import re
import select
import struct
import subprocess
import sys
import tempfile
import termios
import time
from pathlib import Path

from benchmarks.measure import Figure

SIGNALS, HERTZ = 100, 50
WARM_UP, SECONDS = 2.0, 4.0
FIRST_PORT = 48_600
RATE = re.compile(rb"\x1b\[2m +(\d+\.\d)\x1b\[0m")

NODES = """
import select, socket, struct, sys, time
sys.path.insert(0, sys.argv[1])
from plain_node import fast_check
first, count, values, hertz = (int(word) for word in sys.argv[2:])
socks = []
for number in range(count):
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    sock.bind(("127.0.0.1", first + number))
    socks.append(sock)
peers = {}
print("ready", flush=True)
turn, due = 0, time.monotonic()
while True:
    ready, _, _ = select.select([*socks, sys.stdin], [], [], max(0, due - time.monotonic()))
    if sys.stdin in ready:
        break
    for sock in ready:
        peers[sock] = sock.recvfrom(65535)[1]
    if time.monotonic() < due:
        continue
    due += 1 / hertz
    turn += 1
    for number, sock in enumerate(socks):
        if sock in peers:
            told = [(turn * (place + 3) + number) % 1000 for place in range(values)]
            body = struct.pack(f">BBHI{values}h", 0x31, number + 1, turn & 0xFFFF, turn * 20, *told)
            sock.sendto(body + struct.pack(">H", fast_check(body)), peers[sock])
"""

LAYOUTS = """\
bench: busy
interface: lo
host: 127.0.0.1
checks:
  ccitt: {width: 16, polynomial: 0x1021, start: 0xFFFF, reflect-in: no, reflect-out: no,
          final-xor: 0x0000, check: 0x29B1}
layouts:
  request:
    role: request
    order: big
    fields:
      - {name: kind, type: u8, constant: 0x21}
      - {name: node, type: u8, is: node}
      - {name: request, type: u16, is: request}
      - {name: operation, type: u8, is: operation}
    examples:
      - {bytes: 21 01 00 41 09, values: {node: 1, request: 65, operation: 9}}
  reading:
    role: reading
    order: big
    fields:
      - {name: kind, type: u8, constant: 0x31}
      - {name: node, type: u8, is: node}
      - {name: sequence, type: u16, is: sequence}
      - {name: uptime, type: u32, is: uptime, tick: 1 ms}
@fields
      - {name: check, type: u16, is: crc, crc: ccitt}
    examples:
      - {bytes: @bytes, values: {node: 1, sequence: 1, uptime: 20}}
nodes:
"""


def bench_text(nodes: int, values: int) -> str:
    """Return a bench file of so many nodes with so many values each."""
    sys.path.insert(0, str(Path(__file__).parent.parent / "wall"))
    from plain_node import fast_check

    body = struct.pack(f">BBHI{values}h", 0x31, 1, 1, 20, *range(values))
    raw = body + struct.pack(">H", fast_check(body))
    fields = "\n".join(f"      - {{signal: s{place}, type: i16}}" for place in range(values))
    text = LAYOUTS.replace("@fields", fields).replace("@bytes", raw.hex(" "))
    for number in range(nodes):
        text += (
            f"  n{number}:\n    number: {number + 1}\n"
            f"    address: 127.0.0.1:{FIRST_PORT + number}\n"
            "    layouts: [request, reading]\n    answer-within: 50 ms\n"
            "    requests: {listen: 9, renew: 2 s}\n    signals:\n"
        )
        for place in range(values):
            text += f"      s{place}: {{unit: mm, scale: 0.1, range: -10 mm to 110 mm, stale-after: 500 ms}}\n"
    return text


def share(nodes: int, values: int) -> tuple[float, float]:
    """Return the part of one core that watching takes, and the lowest rate that it showed."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "bench.yaml").write_text(bench_text(nodes, values))
        (folder / "nodes.py").write_text(NODES)
        wall = str(Path(__file__).parent.parent / "wall")
        command = [sys.executable, str(folder / "nodes.py"), wall]
        command += [str(number) for number in (FIRST_PORT, nodes, values, HERTZ)]
        rack = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        try:
            assert rack.stdout is not None
            rack.stdout.readline()
            return _watch(folder / "bench.yaml")
        finally:
            rack.kill()
            rack.communicate()


def _watch(bench: Path) -> tuple[float, float]:
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
    process = subprocess.Popen(
        [sys.executable, "-m", "hil", "watch", "--bench", str(bench)],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env=os.environ | {"TERM": "xterm-256color"},
    )
    os.close(theirs)
    try:
        seen = b""
        while b"s0" not in seen:
            assert select.select([ours], [], [], 20)[0], "no table was drawn"
            seen += os.read(ours, 65_536)
        _look(ours, WARM_UP)
        before, began = _used(process.pid), time.monotonic()
        seen = _look(ours, SECONDS)
        used = (_used(process.pid) - before) / (time.monotonic() - began)
        return used, min(float(rate) for rate in RATE.findall(seen))
    finally:
        process.kill()
        process.wait()
        os.close(ours)


def _look(fd: int, seconds: float) -> bytes:
    """Read what is drawn for so long, as a terminal does."""
    seen, end = b"", time.monotonic() + seconds
    while (left := end - time.monotonic()) > 0:
        if select.select([fd], [], [], left)[0]:
            seen += os.read(fd, 65_536)
    return seen


def _used(pid: int) -> float:
    """Return the processor seconds of a process so far (proc(5): utime and stime)."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def figures() -> list[Figure]:
    rows = []
    for nodes, values in ((10, SIGNALS // 10), (SIGNALS, 1)):
        used, rate = share(nodes, values)
        assert rate > 0.9 * HERTZ, f"only {rate} updates a second were seen"
        rows.append(
            Figure(
                what=f"hil watch, {nodes} nodes of {values} at {HERTZ} Hz, of one core",
                value=f"{used:.1%}",
                floor="30 %",
                ratio=used / 0.3,
                limit=1.0,
            )
        )
    return rows
