"""Power as a stimulus: a node that is really switched off and on, and runs that end meanwhile."""

import os
import signal
import subprocess
import sys

import pytest
from wall.power import is_on, outlet, powered, wait_until
from wall.run_rack import finish

pytestmark = pytest.mark.wall


@pytest.fixture
def folder(tmp_path):
    yield from powered(tmp_path)


PLAN = """\
plan: Power
cases:
  - case: the gauge comes back after its power was away
    steps:
      - stimulus: {gauge.pressure: 4.8 bar}
        expect: [{signal: gauge.lamp, value: red, within: 500 ms}]
      - stimulus: {gauge.power: restart}
        expect: [{signal: gauge.lamp, value: green, within: 4 s}]
  - case: the gauge can be off for a while
    steps:
      - stimulus: {gauge.power: "off"}
      - wait: 200 ms
        stimulus: {gauge.power: run}
        expect: [{signal: gauge.lamp, value: green, within: 4 s}]
  - case: the next case finds it well
    steps:
      - stimulus: {gauge.pressure: 4.8 bar}
        expect: [{signal: gauge.lamp, value: red, within: 500 ms}]
"""
LAST = PLAN[: PLAN.index("  - case")] + PLAN[PLAN.index("  - case: the next") :]
OFF = """\
plan: Power
cases:
  - case: the gauge is off for long
    steps:
      - stimulus: {gauge.power: "off"}
      - stimulus: {gauge.power: WORD}
      - expect: [{signal: gauge.lamp, value: green, during: 9 s to 10 s}]
"""


def hil(folder, plan):
    (folder / "plan.yaml").write_text(plan)
    return subprocess.Popen(
        [sys.executable, "-m", "hil", "run", "plan.yaml", "--bench", "bench.yaml"],
        cwd=folder,
        env=os.environ | {"PYTHONWARNINGS": "error"},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def boots(folder):
    return int((folder / "boots").read_text())


def test_power_is_a_stimulus_and_its_reboots_are_planned(folder):
    outlet(folder, "on")
    code, out, err = finish(hil(folder, PLAN))

    assert code == 0, out + err
    assert boots(folder) == 3
    assert "gauge: 2 × reboot" in out


def test_a_bench_that_cannot_do_it_is_no_fault_of_the_node(folder):
    outlet(folder, "on")
    code, out, _ = finish(hil(folder, OFF.replace('"off"', "bad").replace("WORD", "run")))

    assert code == 3
    assert "NOT READY: bench: 1 error" in out
    assert "(sh): exit code 7, it said: no outlet 3 here" in out
    assert is_on(folder)


def test_ctrl_c_with_the_power_off_ends_what_hangs_and_switches_it_on_again(folder):
    outlet(folder, "on")
    process = hil(folder, OFF.replace("WORD", "hang"))
    wait_until(lambda: not is_on(folder))
    process.send_signal(signal.SIGINT)
    code, out, _ = finish(process)

    assert code == 130
    assert is_on(folder)
    assert "safe: all 3 driven signals are back" in out


def test_a_run_that_is_killed_with_the_power_off_has_it_switched_on_behind_it(folder):
    outlet(folder, "on")
    process = hil(folder, OFF.replace("WORD", "hang"))
    wait_until(lambda: not is_on(folder))
    process.kill()
    process.communicate()
    wait_until(lambda: is_on(folder))
    code, out, err = finish(hil(folder, LAST))

    assert code == 0, out + err
