"""Tests import the shared suites beside them (`laws`, `core.paper`) by their plain names."""

import compileall
import sys
from pathlib import Path

HERE = Path(__file__).parent

sys.path.insert(0, str(HERE))

# Tests start the command some hundred times.  Where Python is told to keep no bytecode, each of
# them would compile the whole package once more.
compileall.compile_dir(HERE.parent / "hil", quiet=1)

pytest_plugins = ["pytester"]
