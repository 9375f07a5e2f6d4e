"""Whole runs in virtual time on the demo rack: from files to exit code and evidence."""

import xml.etree.ElementTree as ET

import pytest

from hil.core.error import BenchError, DescriptionError, StoreError
from hil.report.rebuild import rebuild
from hil.runner.options import Options
from hil.runner.run import run_plans

BENCH = "fixtures/glasshouse.yaml"
PLAN = """\
plan: A first look
cases:
  - case: over-pressure turns the stack light red
    requirement: FP-03
    tags: [show]
    steps:
      - stimulus: {feedline.pressure: 9.0 bar}
        expect: [{signal: beacon.lamp, value: red, within: 500 ms}]
  - case: a vane reaches its angle
    vary: {angle: [-30 deg, 30 deg]}
    steps:
      - stimulus: {louvres.vane-2.angle: "${angle}"}
        expect: [{signal: louvres.vane-2.position, value: "${angle}", tolerance: 2 deg, within: 2 s}]
"""
WRONG = PLAN.replace("value: red", "value: green, hold: 400 ms")


@pytest.fixture
def run(tmp_path, request):
    def go(plan=PLAN, **options):
        (tmp_path / "plan.yaml").write_text(plan)
        given = {
            "plans": (str(tmp_path / "plan.yaml"),),
            "bench": str(request.config.rootpath / BENCH),
            "virtual": True,
            "reports": str(tmp_path / "reports"),
        }
        return run_plans(Options(**(given | options)), say=print)

    return go


def test_a_good_run_passes_and_leaves_evidence(run):
    finished = run()

    assert (finished.code, finished.faults, finished.crash) == (0, (), "")
    assert sorted(path.name for path in finished.folder.iterdir()) == [
        "about.json",
        "capture.pcapng",
        "journal.jsonl",
        "junit.xml",
        "report",
        "report.css",
        "report.html",
    ]
    assert finished.folder == (finished.folder.parent / "latest").resolve()


FIRST = """\
plan: First
cases:
  - case: without a precondition
    steps:
      - stimulus: {feedline.pressure: 4.8 bar}
        expect: [{signal: beacon.lamp, value: red, within: 150 ms}]
"""


def test_the_first_case_finds_a_rack_that_is_ready(run):
    assert run(FIRST).code == 0


def test_two_runs_have_the_same_journal_to_the_byte(run):
    first, second = (run().folder / "journal.jsonl" for _ in range(2))

    assert first != second
    assert first.read_bytes() == second.read_bytes()


def test_another_seed_gives_another_order_and_the_same_verdicts(run):
    plain = run()
    orders = [run(shuffle=seed) for seed in range(4)]

    assert len({tuple(case.title for case in one.result.cases) for one in [plain, *orders]}) > 1
    assert all(one.code == 0 for one in orders)


def test_a_wrong_node_is_exit_code_one(run):
    finished = run(WRONG)
    failure = ET.parse(finished.junit).find(".//failure")

    assert finished.code == 1
    assert "beacon.lamp" in failure.get("message")


def test_a_retry_stays_visible(run):
    finished = run(WRONG, retries=1, only="over-pressure")

    assert [len(case.attempts) for case in finished.result.cases] == [2]
    assert finished.code == 1


def test_repeats_are_cases_of_their_own(run):
    finished = run(repeat=2, only="over-pressure")
    names = [case.get("name") for case in ET.parse(finished.junit).iter("testcase")]

    assert [f"over-pressure turns the stack light red ({turn})" for turn in (1, 2)] == names


def test_the_report_made_again_is_the_same(run):
    finished = run(WRONG)
    before = finished.junit.read_bytes()

    assert before == rebuild(finished.folder).junit.read_bytes()


def test_a_wrong_plan_takes_last_nights_report_away(run, tmp_path):
    run()
    with pytest.raises(DescriptionError):
        run(PLAN.replace("within: 500 ms", "within: 500"))

    assert not (tmp_path / "reports" / "latest").exists()


def test_a_bench_without_a_model_cannot_be_run_virtually(run, tmp_path, request):
    text = (request.config.rootpath / BENCH).read_text(encoding="utf-8")
    (tmp_path / "real.yaml").write_text(text.split("\nsoftware:")[0] + "\n", encoding="utf-8")

    with pytest.raises(BenchError, match="names no software model"):
        run(bench=str(tmp_path / "real.yaml"))


def test_a_reports_folder_that_is_a_file_is_told_before_anything_moves(run, tmp_path):
    (tmp_path / "reports").write_text("")

    with pytest.raises(StoreError, match="is not a folder"):
        run()


ODD = """\
plan: Odd
cases:
  - case: finer than the looks
    steps:
      - stimulus: {circulator.duty: 50 %}
        expect: [{signal: circulator.speed, above: 2900 rpm, never: 10 ms}]
"""


def test_what_is_odd_about_plans_is_said_before_the_run(tmp_path, request):
    said = []
    (tmp_path / "plan.yaml").write_text(ODD)
    options = Options(
        plans=(str(tmp_path / "plan.yaml"),),
        bench=str(request.config.rootpath / BENCH),
        virtual=True,
        reports=str(tmp_path / "reports"),
    )
    run_plans(options, say=said.append, watch=lambda event: said.append(event.kind))

    assert "warning: " in said[0]


def test_a_watcher_that_goes_away_does_not_stop_the_run(tmp_path, request):
    seen = []

    def watch(event):
        seen.append(event)
        raise BrokenPipeError

    (tmp_path / "plan.yaml").write_text(PLAN)
    finished = run_plans(
        Options(
            plans=(str(tmp_path / "plan.yaml"),),
            bench=str(request.config.rootpath / BENCH),
            virtual=True,
            reports=str(tmp_path / "reports"),
        ),
        watch=watch,
    )

    assert (finished.code, len(seen)) == (0, 1)
