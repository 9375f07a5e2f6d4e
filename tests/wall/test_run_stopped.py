"""Runs that are stopped: safe first, then the report, then the right exit code."""

import select
import signal
import xml.etree.ElementTree as ET

import pytest
from wall.run_rack import LONG, SHORT, Rack, finish

pytestmark = pytest.mark.wall


@pytest.fixture
def rack(tmp_path):
    made = Rack(tmp_path, LONG)
    yield made
    made.close()


def results(folder):
    cases = ET.parse(folder / "junit.xml").findall("*/testcase")
    return [(c[0].tag, c[0].get("type"), c[0].get("message")) if len(c) else None for c in cases]


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_leaves_the_arm_safe_and_the_report_complete(rack, number):
    run = rack.run()
    rack.wait_for_arm(45)
    run.send_signal(number)
    took = rack.wait_for_arm(0)
    code, out, _ = finish(run)

    assert 128 + number == code
    assert took < 1
    assert f"ended by {number.name}" in out
    passed, broken, left = results(rack.folder / "reports" / "latest")
    assert passed is None
    assert broken[:2] == ("error", "error")
    assert broken[2].startswith(f"the run ended here: ended by {number.name}")
    assert left[:2] == ("error", "not run")
    assert {"aborted": f"ended by {number.name}", "safe": True}.items() <= rack.journal()[
        -1
    ].items()
    assert not rack.needs_repair()


def test_a_second_signal_does_not_spoil_the_safe_state(rack):
    run = rack.run()
    rack.wait_for_arm(45)
    run.send_signal(signal.SIGTERM)
    run.send_signal(signal.SIGINT)
    rack.wait_for_arm(0)

    assert finish(run)[0] in (128 + signal.SIGTERM, 128 + signal.SIGINT)


def test_a_signal_during_the_roll_call_moves_nothing(tmp_path):
    mute = Rack(tmp_path, SHORT, "mute")
    try:
        run = mute.run()
        assert run.stdout.readline() == "2 cases on plain\n"
        run.send_signal(signal.SIGTERM)
        code, out, _ = finish(run)

        assert (code, "nothing was moved" in out) == (143, True)
        assert not [line for line in mute.journal() if line["event"] == "command"]
    finally:
        mute.close()


def test_a_killed_run_is_made_safe_rebuilt_and_repaired(rack):
    run = rack.run()
    rack.wait_for_arm(45)
    run.kill()
    took = rack.wait_for_arm(0)
    finish(run)
    code, out, _ = finish(rack.hil("rebuild", "reports/latest"))

    assert took < 5
    assert code == 3
    assert "the run was killed" in out
    passed, broken, left = results(rack.folder / "reports" / "latest")
    assert (passed, broken) == (None, ("error", "error", "the run ended here"))
    assert left[:2] == ("error", "not run")
    assert rack.needs_repair()

    (rack.folder / "plan.yaml").write_text(SHORT)
    code, out, err = finish(rack.run())
    assert code == 0, out + err
    assert "the last run did not leave the rack safe (run " in err
    lines = rack.journal()
    repaired = next(at for at, line in enumerate(lines) if line.get("trouble") == "unclean end")
    began = next(at for at, line in enumerate(lines) if line["event"] == "case-started")
    assert any(line["event"] == "actuator-safe" for line in lines[:repaired])
    assert repaired < began
    assert not rack.needs_repair()


def test_a_stalled_host_never_makes_the_node_fail(rack):
    (rack.folder / "plan.yaml").write_text(SHORT.replace('value: "${angle}"', "value: 60 deg"))
    run = rack.run("--only", "[-45 deg]")
    rack.wait_for_arm(-45)
    run.send_signal(signal.SIGSTOP)
    select.select([], [], [], 1.0)  # the stall itself: longer than the window of the check
    run.send_signal(signal.SIGCONT)
    code, out, _ = finish(run)

    assert code == 3, out
    assert "inconclusive" in out
    assert "late" in out
    assert [line["trouble"] for line in rack.journal() if line["event"] == "host-note"]


def test_the_same_without_a_stall_is_a_failure(rack):
    (rack.folder / "plan.yaml").write_text(SHORT.replace('value: "${angle}"', "value: 60 deg"))

    assert finish(rack.run("--only", "[-45 deg]"))[0] == 1
