"""pytest on a rack of one independent node process: real time, real signals."""

import signal
import subprocess
import sys

import pytest
from wall.run_rack import LONG, SHORT, Rack, finish

pytestmark = pytest.mark.wall


@pytest.fixture
def rack(tmp_path):
    made = Rack(tmp_path, LONG)
    yield made
    made.close()


def session(rack, *args):
    command = [sys.executable, "-m", "pytest", "--hil-bench=bench.yaml", "-p", "no:cacheprovider"]
    return subprocess.Popen(
        [*command, *args],
        cwd=rack.folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_a_rack_is_proven_case_by_case_and_left_safe(rack):
    (rack.folder / "plan.yaml").write_text(SHORT)
    code, out, err = finish(session(rack, "plan.yaml"))

    assert code == 0, out + err
    assert "2 passed" in out
    assert "signals are back" in out
    assert rack.arm() == 0
    assert not rack.needs_repair()


def test_an_interrupt_leaves_the_arm_safe_and_the_report_complete(rack):
    run = session(rack, "plan.yaml")
    rack.wait_for_arm(45)
    run.send_signal(signal.SIGINT)
    took = rack.wait_for_arm(0)
    code, out, _ = finish(run)

    assert code == pytest.ExitCode.INTERRUPTED
    assert took < 1
    assert "signals are back" in out
    ended = rack.journal()[-1]
    assert (ended["event"], ended["aborted"], ended["safe"]) == (
        "run-ended",
        "ended by SIGINT",
        True,
    )
    assert not rack.needs_repair()


SLOW = """
import select

def test_slow_program(bench):
    bench.drive("gauge.arm", "30 deg")
    select.select([], [], [], 1.5)
    bench.expect("gauge.arm", value="30 deg", tolerance="1 deg", during="100 ms")
    select.select([], [], [], 1.5)
    bench.step(
        stimulus={"gauge.arm": "-30 deg"},
        expect=[{"signal": "gauge.arm", "value": "-30 deg", "tolerance": "1 deg", "within": "500 ms"}],
    )
    assert bench.read("gauge.arm") == -30
"""


def test_a_program_that_takes_its_time_makes_the_bench_neither_late_nor_deaf(rack):
    (rack.folder / "test_slow.py").write_text(SLOW)
    code, out, err = finish(session(rack, "test_slow.py"))

    assert code == 0, out + err
    assert not [line for line in rack.journal() if line["event"] == "host-note"]
    assert rack.arm() == 0


def test_a_node_that_is_not_there_is_an_error_of_every_item_and_no_failure(tmp_path):
    mute = Rack(tmp_path, SHORT, "mute")
    try:
        code, out, _ = finish(session(mute, "plan.yaml"))

        assert code == pytest.ExitCode.TESTS_FAILED
        assert "2 errors" in out
        assert "nothing was moved, not every node is ready" in out
    finally:
        mute.close()
