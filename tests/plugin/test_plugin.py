"""The plugin as pytest itself sees it: sessions of their own, on the virtual demo rack."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

import hil.plugin.sitting  # noqa: F401  a session in process forgets what only it imported
from hil.files.read import read_rack

ROOT = Path(__file__).parents[2]
BENCH = ROOT / "fixtures" / "glasshouse.yaml"
read_rack(BENCH)  # loads what is loaded late
PLAN = """\
plan: Lamps
cases:
  - case: the light shows its colours
    tags: [show, quick-look]
    vary: {colour: [red, amber]}
    steps:
      - stimulus: {beacon.lamp: "${colour}"}
        expect: [{signal: beacon.lamp, value: "${colour}", within: 200 ms}]
  - case: the disc is wrong
    steps:
      - stimulus: {tile.disc: red}
        expect: [{signal: tile.disc, value: blue, within: 200 ms}]
  - case: a precondition that is not met
    precondition: [{signal: tile.disc, value: blue, within: 100 ms}]
    steps:
      - stimulus: {tile.disc: red}
        expect: [{signal: tile.disc, value: red, within: 200 ms}]
  - case: not here
    skip: the lamp is at the shop
    steps:
      - stimulus: {tile.disc: red}
        expect: [{signal: tile.disc, value: red, within: 200 ms}]
"""
OTHER = "plan: Elsewhere\nbenches: [far]\ncases: [{case: a, steps: [{odd: 1}]}]\n"


@pytest.fixture
def rack(pytester):
    """Return what runs pytest on a folder with one plan; its arguments are added."""
    (pytester.path / "plans").mkdir()
    (pytester.path / "plans" / "lamps.yaml").write_text(PLAN)

    def run(*args, places=("plans",), virtual=True):
        mode = ("--hil-virtual",) if virtual else ()
        return pytester.runpytest_inprocess(*places, f"--hil-bench={BENCH}", *mode, *args)

    return run


def journal(pytester):
    lines = (pytester.path / "reports" / "latest" / "journal.jsonl").read_text().splitlines()
    return [json.loads(line) for line in lines]


def test_every_case_is_an_item_and_its_verdict_an_outcome(rack, pytester):
    result = rack("-v")

    result.assert_outcomes(passed=2, failed=1, errors=1, skipped=1)
    result.stdout.fnmatch_lines(
        [
            "plans/lamps.yaml::the light shows its colours *red* PASSED*",
            "plans/lamps.yaml::the disc is wrong FAILED*",
            "plans/lamps.yaml::a precondition that is not met ERROR*",
            "plans/lamps.yaml::not here SKIPPED*",
            "*tile.disc was red, wanted blue at the deadline, 200 ms after the stimulus*",
            "safe: all 43 driven signals are back",
            "evidence: reports/*-glasshouse",
            "as a run of its own: exit code 3",
        ]
    )


def test_the_journal_is_that_of_a_run_of_the_same_plans(rack, pytester):
    rack("-q")
    own = [sys.executable, "-m", "hil", "run", "plans", "--virtual", "--bench", str(BENCH)]
    subprocess.run([*own, "--reports", "own"], check=False, capture_output=True)
    lines = [
        (pytester.path / folder / "latest" / "journal.jsonl").read_bytes()
        for folder in ("reports", "own")
    ]

    assert lines[0] == lines[1]


@pytest.mark.parametrize(
    ("args", "passed"),
    [
        (("-k", "colours"), 2),
        (("-k", "amber"), 1),
        (("-m", "show"), 2),
        (("-m", "quick-look and not show"), 0),
    ],
)
def test_cases_are_chosen_by_title_and_by_tag(rack, args, passed):
    rack("--strict-markers", *args).assert_outcomes(passed=passed, deselected=5 - passed)


def test_a_case_is_named_by_its_node_id(rack):
    result = rack(places=("plans/lamps.yaml::the disc is wrong",))

    result.assert_outcomes(failed=1)


def test_the_first_failure_ends_the_session_and_what_is_left_was_not_run(rack, pytester):
    rack("-x").assert_outcomes(passed=2, failed=1)
    (ended,) = [line for line in journal(pytester) if line["event"] == "run-ended"]

    assert (ended["counts"]["not run"], ended["counts"]["skipped"]) == (1, 1)
    assert ended["safe"]


def test_last_failed_runs_only_what_failed(rack):
    rack()

    rack("--lf").assert_outcomes(failed=1, errors=1)


@pytest.mark.parametrize(
    "args", [("-n", "2"), ("-n", "auto"), ("--dist", "load", "--tx", "2*popen"), ("--dist", "each")]
)
def test_several_processes_are_refused(rack, args):
    """Also where this test is itself one of several processes: it asks for more."""
    result = rack(*args)

    assert result.ret == pytest.ExitCode.USAGE_ERROR
    result.stderr.fnmatch_lines(["*one rack takes one run at a time; leave out -n and --dist*"])


def test_one_process_that_is_asked_for_is_none_too_many(rack):
    rack("-n", "0", "-k", "amber").assert_outcomes(passed=1, deselected=4)


@pytest.mark.parametrize("places", [("plans",), ("test_rack.py",)])
def test_a_rack_that_cannot_be_opened_is_an_error_of_every_item_told_once(pytester, rack, places):
    text = BENCH.read_text("utf-8").replace("alarms: ", "# alarms: ")
    (pytester.path / "real.yaml").write_text(text[: text.index("\nsoftware:")], "utf-8")
    pytester.makepyfile(test_rack="def test_it(bench): raise AssertionError")

    result = rack("--hil-bench=real.yaml", "-k", "amber or test_it", places=places)

    result.assert_outcomes(errors=1, deselected=4 if places == ("plans",) else 0)
    told = "real.yaml names no software model, so it cannot be run virtually"
    result.stdout.fnmatch_lines(["*ERROR at setup of*", told])
    result.stdout.no_fnmatch_line("*During handling*")


def test_a_bench_file_with_mistakes_is_a_usage_error(pytester):
    pytester.makefile(".yaml", bad="bench: x\ninterfce: lo\n")

    result = pytester.runpytest_inprocess("--hil-bench", "bad.yaml")

    assert result.ret == pytest.ExitCode.USAGE_ERROR
    result.stderr.fnmatch_lines(["*bad.yaml:2:1: *interfce*"])


def test_a_plan_with_mistakes_is_an_error_of_collection(rack, pytester):
    (pytester.path / "plans" / "bad.yaml").write_text(PLAN.replace("beacon.lamp:", "beacon.lmp:"))

    result = rack()

    assert result.ret == pytest.ExitCode.INTERRUPTED
    result.stdout.fnmatch_lines(["*there is no signal `beacon.lmp` on this bench*"])


def test_plans_for_other_benches_are_passed_over_and_refused_by_name(rack, pytester):
    (pytester.path / "plans" / "other.yaml").write_text(OTHER)

    rack("-k", "colours").assert_outcomes(passed=2, deselected=3)
    result = rack(places=("plans/other.yaml",))
    result.stdout.fnmatch_lines(["*this plan is for the bench far, the bench here is glasshouse*"])


def test_without_a_bench_plans_are_no_tests(pytester):
    pytester.makefile(".yaml", plan=PLAN)
    pytester.makepyfile("def test_nothing(bench): raise AssertionError")

    result = pytester.runpytest_inprocess("-rs")

    result.assert_outcomes(skipped=1)
    result.stdout.fnmatch_lines(["*name its bench file with --hil-bench*"])


PYTHON = """
import pytest

def test_over_pressure(bench):
    bench.step(
        stimulus={"feedline.pressure": "4.8 bar"},
        expect=[{"signal": "beacon.lamp", "value": "red", "within": "150 ms", "hold": "50 ms"}],
    )
    bench.wait("20 ms")
    assert bench.read("beacon.lamp") == "red"
    assert 4.7 < bench.read("feedline.pressure") < 4.9

def test_put_back(bench):
    bench.expect("feedline.pressure", value="2.4 bar", tolerance="0.1 bar", within="1 s")

@pytest.mark.parametrize("angle", [-30, 30])
def test_angle(bench, angle):
    bench.drive("louvres.vane-1.angle", f"{angle} deg")
    bench.expect("louvres.vane-1.position", value=f"{angle} deg", tolerance="1.5 deg", within="1 s")

def test_wrong_node(bench):
    bench.drive("tile.disc", "red")
    bench.expect("tile.disc", value="blue", within="100 ms")

def test_wrong_by_itself(bench):
    bench.drive("tile.disc", "red")
    assert bench.read("tile.disc") == "blue"

def test_mistaken(bench):
    bench.drive("tile.dics", "red")

def test_not_there(bench):
    bench.read("feedline.presure")
"""


def test_python_tests_have_the_same_stimuli_and_expectations(rack, pytester):
    pytester.makepyfile(test_rack=PYTHON)

    result = rack(places=("test_rack.py", "plans/lamps.yaml::the light shows its colours [red]"))

    result.assert_outcomes(passed=5, failed=4)
    result.stdout.fnmatch_lines(
        [
            "*CaseFailed: test_wrong_node, step 2: tile.disc was red, wanted blue*",
            "*there is no signal `tile.dics` on this bench*",
            "*try: tile.disc*",
            "*test_rack.py:32:1: there is no signal `feedline.presure` on this bench*",
            "*try: feedline.pressure*",
            "safe: all 43 driven signals are back",
        ]
    )
    ended = {line["case"]: line for line in journal(pytester) if line["event"] == "case-ended"}
    assert ended["test_wrong_by_itself"]["outcome"] == "fail"
    assert ended["test_wrong_by_itself"]["reasons"][0].startswith(
        "test_wrong_by_itself: AssertionError"
    )
    assert ended["test_mistaken"]["outcome"] == "error"
    restored = [
        line["signal"]
        for line in journal(pytester)
        if line["event"] == "command" and line["purpose"] == "restore" and line["state"] == "sent"
    ]
    assert {"feedline.pressure", "louvres.vane-1.angle", "tile.disc"} <= set(restored)
