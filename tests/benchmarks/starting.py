"""How long `hil --help` takes, against a bare interpreter."""

import subprocess
import sys
from pathlib import Path

from benchmarks.measure import Figure, median_pair, show_time


def figures() -> list[Figure]:
    program = Path(sys.executable).parent / "hil"
    ours, bare = median_pair(
        lambda: subprocess.run([program, "--help"], capture_output=True, check=True),
        lambda: subprocess.run([sys.executable, "-c", "pass"], check=True),
        rounds=15,
    )
    return [
        Figure(
            what="hil --help, against an interpreter that does nothing",
            value=show_time(ours),
            floor=show_time(bare),
            ratio=ours / bare,
            limit=3.0,
        )
    ]
