"""A bench whose node hangs on a switched outlet, and whose other programs misbehave."""

import select
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from wall.marks import forget
from wall.plain_node import bench_text
from wall.ports import free_port
from wall.run_rack import PATIENCE

from hil.files.read import read_rack

OUTLET = Path(__file__).parent / "outlet.py"
PROGRAMS = """\
commands:
  gauge.power:
    values:
      "off": [@python, @outlet, "@port", "off"]
      run: [@python, @outlet, "@port", "on"]
      restart: [@python, @outlet, "@port", cycle]
      missing: [./nothing-of-this-name]
      hang: [sh, -c, "echo $$; trap '' TERM; sleep 50 & sleep 50"]
      flood: [head, -c, "400000000", /dev/zero]
      killed: [sh, -c, "echo its last words; kill -SEGV $$"]
      bad: [sh, -c, "echo no outlet 3 here; exit 7"]
    safe: run
    within: 1 s
  gauge.note:
    text: [@python, -c, "import os, sys; print(sorted(os.environ), os.getcwd(), sys.argv[1], sys.stdin.read())", "{value}"]
    stays: yes
    within: 5 s
    restarts: []
"""


def port_of(folder: Path) -> int:
    return read_rack(folder / "bench.yaml").nodes[0].address.port


def outlet(folder: Path, word: str) -> None:
    """Switch it by hand."""
    subprocess.run(
        [sys.executable, OUTLET, str(port_of(folder)), word], cwd=folder, check=True, timeout=20
    )


def is_on(folder: Path) -> bool:
    return (folder / "node.pid").exists()


def powered(folder: Path) -> Iterator[Path]:
    """Put the bench into a folder; everything is off in the end."""
    port = free_port()
    text = PROGRAMS.replace("@python", sys.executable).replace("@outlet", str(OUTLET))
    text = text.replace("@port", str(port))
    plain = bench_text(port).replace("renew: 2 s", "renew: 300 ms")
    (folder / "bench.yaml").write_text(f"{plain}\n{text}")
    yield folder
    outlet(folder, "off")
    forget([port])


def wait_until(what: Callable[[], object]) -> None:
    """Look again and again until it is so."""
    begun = time.monotonic()
    while not what():
        assert time.monotonic() - begun < PATIENCE
        select.select([], [], [], 0.01)  # between two looks
