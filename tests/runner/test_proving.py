"""Alarm specs through the whole runner: files, JUnit, exit codes, the key in a plan."""

import xml.etree.ElementTree as ET

import pytest

from hil.core.error import DescriptionError
from hil.report.rebuild import rebuild
from hil.runner.options import Options
from hil.runner.proving import proofs, read_proofs
from hil.runner.run import run_plans

PLAN = """\
plan: Gauge
cases:
  - case: the upper alarm
    steps:
      - prove: {alarms: alarms.yaml, only: "high: trip", repeat: 1}
"""


@pytest.fixture
def folder(tmp_path, request):
    fixtures = request.config.rootpath / "fixtures"
    (tmp_path / "bench.yaml").write_text((fixtures / "alarm-gauge.yaml").read_text())
    (tmp_path / "alarms.yaml").write_text((fixtures / "alarm-gauge-alarms.yaml").read_text())
    (tmp_path / "plan.yaml").write_text(PLAN)
    return tmp_path


def change(path, old, new):
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))


@pytest.fixture
def options(folder):
    def make(**more):
        given = {
            "plans": (str(folder / "alarms.yaml"),),
            "bench": str(folder / "bench.yaml"),
            "virtual": True,
            "reports": str(folder / "reports"),
        }
        return Options(**(given | more))

    return make


def test_a_proof_has_one_junit_case_for_each_edge_and_property(options):
    finished = run_plans(options(only="high"), say=print, read=proofs(1))
    names = [case.get("name") for case in ET.parse(finished.junit).iter("testcase")]

    assert finished.code == 0
    assert names[:5] == [
        f"Level, high: {word}"
        for word in ("trip point", "reset point", "counts around the edge", "on-delay", "chatter")
    ]
    assert finished.junit.read_bytes() == rebuild(finished.folder).junit.read_bytes()


def test_a_proof_leaves_a_table_and_a_picture_of_its_points(options):
    finished = run_plans(options(only="high: trip"), say=print, read=proofs(1))
    told = (finished.folder / "alarms.csv").read_bytes()
    picture = (finished.folder / "alarm-level.svg").read_bytes()
    again = rebuild(finished.folder)

    assert told.count(b"\r\n") == 2
    assert [row.outcome for spec in again.result.alarms for row in spec.rows] == ["pass"]
    assert (finished.folder / "alarms.csv").read_bytes() == told
    assert (finished.folder / "alarm-level.svg").read_bytes() == picture


def test_a_wrong_node_is_exit_code_one_and_its_sentence_is_in_the_report(options, folder):
    change(folder / "bench.yaml", "mistake: none", "mistake: tower-swapped")
    finished = run_plans(options(only="agreement"), say=print, read=proofs())
    failure = ET.parse(finished.junit).find(".//failure")

    assert finished.code == 1
    assert "is not shown by all: gauge.tower" in failure.get("message")


def test_nothing_but_what_has_no_way_is_refused(options):
    with pytest.raises(DescriptionError, match="no way declared"):
        run_plans(options(only="sensor-restart"), say=print, read=proofs())


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("signal: gauge.level", "signal: gauge.levl", "gauge.level"),
        ("above: 400 mV", "above: 500 mV", "in no band"),
        ("at-or-below: 400 mV", "at-or-below: 400", "mV"),
        ("labels: by colour", "labels: {normal: green}", "lowest"),
    ],
)
def test_a_wrong_spec_is_refused_before_anything_moves(options, folder, old, new, told):
    change(folder / "alarms.yaml", old, new)

    with pytest.raises(DescriptionError, match=told):
        run_plans(options(), say=print, read=proofs())
    assert not (folder / "reports" / "latest").exists()


def test_an_input_that_nothing_drives_is_refused(options, folder):
    change(
        folder / "bench.yaml",
        "        drive: {operation: 2, safe: 2000 mV, actuator: no}\n",
        "",
    )

    with pytest.raises(DescriptionError, match=r"gauge\.level cannot be driven"):
        read_proofs(options())


def test_a_plan_can_prove(options, folder):
    finished = run_plans(options(plans=(str(folder / "plan.yaml"),)), say=print)

    assert finished.code == 0
    assert "alarm-point" in (finished.folder / "journal.jsonl").read_text()


def test_a_plan_that_proves_everything_tells_what_it_could_not(options, folder):
    change(
        folder / "plan.yaml", '{alarms: alarms.yaml, only: "high: trip", repeat: 1}', "alarms.yaml"
    )
    finished = run_plans(options(plans=(str(folder / "plan.yaml"),)), say=print)
    journal = (finished.folder / "journal.jsonl").read_text()

    assert finished.code == 0
    assert '"outcome":"skipped"' in journal
    assert "not provoked: no way declared" in journal


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("alarms: alarms.yaml", "alarms: alrms.yaml", "cannot be read"),
        ("high: trip", "hihg: trip", "no property has"),
        ("repeat: 1", "repeat: 0", "repeat: expected 1 to"),
        ("high: trip", "sensor-restart", "nothing would be proven"),
        ("alarms: alarms.yaml, ", "", "lacks the key `alarms`"),
    ],
)
def test_a_wrong_proof_in_a_plan_is_refused(options, folder, old, new, told):
    change(folder / "plan.yaml", old, new)

    with pytest.raises(DescriptionError, match=told):
        run_plans(options(plans=(str(folder / "plan.yaml"),)), say=print)


def elsewhere(folder):
    """Let the spec be about a signal that the bench does not have."""
    text = (folder / "alarms.yaml").read_text()
    (signal,) = {word for word in text.split() if word.endswith(".level")}
    change(folder / "alarms.yaml", signal, "boiler.heat")


def proof_in(plan):
    """Return the line of a plan that proves something."""
    (step,) = [line for line in plan.read_text().splitlines() if "prove:" in line]
    return step


def refused(options, plan):
    """Return what is wrong with a plan."""
    with pytest.raises(DescriptionError) as caught:
        run_plans(options(plans=(str(plan),)), say=print)
    return caught.value.mistakes


def test_what_hangs_on_a_wrong_spec_is_no_mistake_of_its_own(options, folder):
    """However many steps prove it."""
    elsewhere(folder)
    plan = folder / "plan.yaml"
    change(plan, proof_in(plan), f"{proof_in(plan)}\n{proof_in(plan)}")

    (mistake,) = refused(options, plan)
    assert "there is no signal `boiler.heat`" in str(mistake)


def test_a_proof_about_another_rack_is_one_mistake(options, folder):
    elsewhere(folder)
    plan = folder / "plan.yaml"
    change(plan, proof_in(plan), f"      - wait: soon\n{proof_in(plan)}")

    (mistake,) = refused(options, plan)
    assert "such as `boiler` (2 mistakes)" in str(mistake)


def test_mistakes_of_the_spec_are_mistakes_of_the_plan(options, folder):
    change(folder / "alarms.yaml", "above: 400 mV", "above: 500 mV")

    with pytest.raises(DescriptionError, match=r"alarms\.yaml:\d+:\d+: AL-101"):
        run_plans(options(plans=(str(folder / "plan.yaml"),)), say=print)
