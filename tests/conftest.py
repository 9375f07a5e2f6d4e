"""Tests import the shared suites beside them (`laws`, `core.paper`) by their plain names."""

import compileall
import signal
import sys
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent

sys.path.insert(0, str(HERE))

# Tests start the command some hundred times.  Where Python is told to keep no bytecode, each of
# them would compile the whole package once more.
compileall.compile_dir(HERE.parent / "hil", quiet=1)

# A shell that starts the tests in the background has Ctrl-C ignored, which every program that a
# test starts would inherit.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

pytest_plugins = ["pytester"]


PEERS = ("capture_peers", "coap", "groups", "history", "link_local", "namespaces", "report_page")
"""Tests of real time that have ports or namespaces of their own and hold no rack of the demo."""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """With `-n 2`, keep the tests of real time in two groups, each in one worker, one by one.

    They share the machine's ports and racks, and wait most of the time.
    """
    from xdist.scheduler import LoadScopeScheduling

    class WallApart(LoadScopeScheduling):  # type: ignore[misc]
        def _split_scope(self, nodeid: str) -> str:
            file = nodeid.partition("::")[0]
            _, wall, name = file.rpartition("/wall/test_")
            if not wall:
                return file
            return "peers" if name.startswith(PEERS) else "wall"

    return WallApart(config, log)
