"""Tests import the shared suites beside them (`laws`, `core.paper`) by their plain names."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

pytest_plugins = ["pytester"]
