"""The pytest plugin: plans as test files, cases as items, and the `bench` fixture.

    pytest testplans --hil-bench fixtures/glasshouse.yaml

Without `--hil-bench` it does nothing.  All selected cases are one run of one rack: one roll call, one
journal, one JUnit report of our own beside pytest's, everything safe at the end.  This file is
imported by every pytest of the environment, so it imports nothing of the tool before it is needed.
"""

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

    from hil.plugin.rack import Bench
    from hil.plugin.sitting import Sitting

KEY: "pytest.StashKey[Sitting]" = pytest.StashKey()


def pytest_addoption(parser: pytest.Parser) -> None:
    group = parser.getgroup("hil", "racks of networked nodes")
    group.addoption("--hil-bench", metavar="FILE", help="the bench file; cases of plans are items")
    group.addoption("--hil-virtual", action="store_true", help="its software nodes, virtual time")
    group.addoption("--hil-served", action="store_true", help="its nodes run already (hil nodes)")
    group.addoption("--hil-reports", metavar="DIR", default="reports", help="where evidence goes")


def pytest_configure(config: pytest.Config) -> None:
    if not config.getoption("hil_bench"):
        return
    if _shared_out(config):
        raise pytest.UsageError(
            "--hil-bench and several processes: one rack takes one run at a time;"
            " leave out -n and --dist"
        )
    from hil.plugin.sitting import open_sitting

    sitting = open_sitting(config)
    config.stash[KEY] = sitting
    config.pluginmanager.register(sitting, "hil-sitting")


def _shared_out(config: pytest.Config) -> bool:
    """Return whether this session hands its tests to other processes, or is one of those."""
    option = config.option
    several = getattr(option, "numprocesses", None) or getattr(option, "dist", "no") != "no"
    return bool(several) or hasattr(config, "workerinput")


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> pytest.Collector | None:
    sitting = parent.config.stash.get(KEY, None)
    if sitting is None or file_path.suffix not in (".yaml", ".yml"):
        return None
    from hil.plugin.items import plan_file

    return plan_file(file_path, parent, sitting)


@pytest.fixture
def bench(request: pytest.FixtureRequest) -> "Iterator[Bench]":
    """The rack of `--hil-bench`: stimuli and expectations as in a plan, from Python.

    Everything that was driven is put back when the test is over.
    """
    sitting = request.config.stash.get(KEY, None)
    if sitting is None:
        pytest.skip("no rack: name its bench file with --hil-bench")
    from contextlib import ExitStack

    from hil.plugin.trouble import BenchTrouble

    with ExitStack() as stack:
        try:
            taken = stack.enter_context(sitting.taking_orders(request.node))
        except BenchTrouble as trouble:
            raise pytest.fail.Exception(str(trouble), pytrace=False) from None
        yield taken
