"""The numbers of this project, each as a ratio against a floor measured in the same run.

    python tests/benchmarks/run.py [answering] [stamps] [serial_line] [virtual] [identity] [proving] [measures]
                                 [bus] [reading] [starting] [pages] [size] [coap] [watch] [history]

Machines are noisy; compare ratios, and only within one run.  Exit code 1 when one is not met.
"""

import importlib
import os
import platform
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

PARTS = (
    "starting",
    "reading",
    "answering",
    "stamps",
    "serial_line",
    "virtual",
    "identity",
    "proving",
    "measures",
    "bus",
    "pages",
    "size",
    "coap",
    "watch",
    "history",
)


def main() -> int:
    from benchmarks.measure import header

    asked = sys.argv[1:] or PARTS
    unknown = set(asked) - set(PARTS)
    if unknown:
        print(f"unknown: {', '.join(sorted(unknown))}; there are {', '.join(PARTS)}")
        return 2
    print(f"{platform.platform()}, {os.cpu_count()} cores, Python {platform.python_version()}")
    print(header())
    missed = 0
    for part in asked:
        for figure in importlib.import_module(f"benchmarks.{part}").figures():
            print(figure.row(), flush=True)
            missed += not figure.met
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
