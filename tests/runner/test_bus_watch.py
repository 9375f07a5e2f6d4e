"""What a run knows of its bus: counters that rose mark a case, and what is unknown is not zero."""

from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import pytest

from hil.core.error import DescriptionError
from hil.core.event import BusHealth, CaseEnded, CaseStarted, HostNoted, RunEnded, read_all
from hil.core.instant import Instant
from hil.core.observation import Samples
from hil.core.signal import Sample, Validity
from hil.files.read import read_rack
from hil.report.about import describe
from hil.runner.bus import BusWatch, refuse_wrong_segment
from hil.runner.bus_alarm import BusAlarm
from hil.runner.evidence import Evidence
from hil.runner.options import Options
from hil.runner.run import run_plans
from hil.wire.segment import Diagnosis

PLAN = """\
plan: P
cases:
  - case: the water falls
    steps:
      - stimulus: {cistern.distance: 900 mm}
        expect: [{signal: cistern.distance, above: 300 mm, during: 2 s}]
  - case: never begun
    steps:
      - stimulus: {cistern.distance: 500 mm}
        expect: [{signal: cistern.distance, above: 300 mm, during: 2 s}]
"""
ROOT = Path(__file__).parents[2]
NOW = Instant(5)


@pytest.fixture(scope="module")
def glasshouse():
    return read_rack(ROOT / "fixtures" / "glasshouse.yaml")


@pytest.fixture
def evidence(tmp_path):
    return Evidence(tmp_path, None)


@pytest.fixture
def health():
    return PaperHealth()


@pytest.fixture
def watch(glasshouse, evidence, health):
    """The feedline's pressure stands for its signal quality, the cistern's distance for a counter."""
    diagnoses = {
        "feedline": Diagnosis(quality="feedline.pressure"),
        "cistern": Diagnosis(counters=("cistern.distance",)),
    }
    bus = replace(glasshouse.bus, diagnoses=diagnoses, least_quality=5)
    return BusWatch(replace(glasshouse, bus=bus), evidence, health=health, alarm=ALARM)


ALARM = BusAlarm()


@pytest.fixture(autouse=True)
def quiet():
    ALARM.__init__()


def heard():
    """Return why the run is to end."""
    return [arrival.thing.reason for arrival in ALARM.collect(NOW)]


class PaperHealth:
    def __init__(self):
        self.counts = {"eth1 collisions": 0}
        self.link = "up"
        self.wrong = []

    def facts(self):
        return (("link", self.link), ("signal quality", "not measured"))

    def counters(self):
        return dict(self.counts)

    def troubles(self):
        return list(self.wrong)


def sampled(signal, value):
    node = signal.split(".")[0]
    validity = Validity.INVALID if value is None else Validity.VALID
    number = None if value is None else Decimal(value)
    return Samples(node, [Sample(signal, number, validity, NOW, NOW)])


def started():
    return CaseStarted(
        at=NOW, index=0, plan="p", case="c", attempt=1, place="", requirements=(), tags=()
    )


def ended(*reasons):
    return CaseEnded(
        at=NOW, index=0, plan="p", case="c", outcome="fail", attempt=1, took=1, reasons=reasons
    )


def journalled(evidence, kind):
    about = describe(
        run="r",
        started=datetime(2026, 1, 1, tzinfo=UTC),
        command=(),
        bench="b",
        interface="lo",
        stamps="kernel",
    )
    evidence.close(about)
    lines = (evidence.folder / "journal.jsonl").read_text("utf-8").splitlines()
    return [event for event in read_all(lines) if isinstance(event, kind)]


def play(watch, *events):
    for event in events:
        watch.record(event)
        watch.observe(event)


def test_a_counter_of_a_node_that_rose_is_a_reason_of_the_case(watch, evidence):
    watch.hear(sampled("cistern.distance", 3))
    play(watch, started())
    watch.hear(sampled("cistern.distance", 7))
    play(watch, ended("was green"))

    (case,) = journalled(evidence, CaseEnded)
    assert case.outcome == "fail"
    assert case.reasons == (
        "was green",
        "bus fault suspected: cistern.distance rose from 3 to 7 during the case",
    )


def test_a_counter_that_stands_still_is_no_reason(watch, evidence):
    watch.hear(sampled("cistern.distance", 3))
    play(watch, started())
    watch.hear(sampled("cistern.distance", 3))
    play(watch, ended())

    assert journalled(evidence, CaseEnded)[0].reasons == ()


def test_a_counter_first_seen_during_the_case_did_not_rise_from_zero(watch, evidence):
    play(watch, started())
    watch.hear(sampled("cistern.distance", 7))
    play(watch, ended())

    assert journalled(evidence, CaseEnded)[0].reasons == ()


def test_a_counter_of_the_interface_is_a_reason_too(watch, health, evidence):
    play(watch, started())
    health.counts["eth1 collisions"] = 2
    play(watch, ended())

    (reason,) = journalled(evidence, CaseEnded)[0].reasons
    assert reason == (
        "bus fault suspected: eth1 collisions rose from 0 to 2 during the case: "
        "two sent at once: a PLCA id is given twice, or a PHY has PLCA off"
    )
    assert heard() == []


def test_what_became_worse_during_a_case_is_a_reason_what_was_so_before_is_not(
    watch, health, evidence
):
    health.wrong = ["signal quality of eth1 is 3"]
    play(watch, started())
    health.wrong.append("no beacon comes on eth1")
    play(watch, ended(), started(), ended())

    first, second = journalled(evidence, CaseEnded)
    assert first.reasons == ("bus fault suspected: no beacon comes on eth1",)
    assert second.reasons == ()
    noted = [note.text for note in journalled(evidence, HostNoted)]
    assert noted == ["signal quality of eth1 is 3", "no beacon comes on eth1"]


def test_what_changed_is_told_after_each_case(watch, health, evidence):
    play(watch, started())
    watch.hear(sampled("cistern.distance", 3))
    play(watch, ended(), started())
    health.link = "down"
    play(watch, ended(), started(), ended())

    told = [(each.who, each.facts[0][1]) for each in journalled(evidence, BusHealth)]
    assert told[:3] == [
        ("interface", "up"),
        ("feedline", "not measured"),
        ("cistern", "not measured"),
    ]
    assert told[3:] == [("cistern", "3 mm"), ("interface", "down")]


def test_beacons_of_a_second_coordinator_end_the_run(glasshouse, evidence):
    bus = replace(glasshouse.bus, diagnoses={"cistern": Diagnosis(beacons="cistern.distance")})
    watch = BusWatch(replace(glasshouse, bus=bus), evidence, alarm=ALARM)
    watch.hear(sampled("cistern.distance", 3))
    play(watch, started())
    assert heard() == []
    watch.hear(sampled("cistern.distance", 4))
    watch.hear(sampled("cistern.distance", 5))

    assert ALARM.due(NOW) == NOW
    assert heard() == ["second coordinator: cistern.distance rose from 3 to 4"]
    assert ALARM.due(NOW) is None
    play(watch, ended())
    (reason,) = journalled(evidence, CaseEnded)[0].reasons
    assert "there is a second coordinator" in reason


def test_unexpected_beacons_of_the_adapter_end_the_run(watch, health):
    health.counts["eth1 plca_unexpected_beacons"] = 0
    play(watch, started())
    health.counts["eth1 plca_unexpected_beacons"] = 1
    play(watch, ended())

    assert heard() == ["second coordinator: eth1 plca_unexpected_beacons rose from 0 to 1"]


def test_a_run_that_was_over_when_beacons_showed_tells_it_in_its_last_line(watch, health, evidence):
    end = RunEnded(at=NOW, outcome="pass", counts={}, aborted="", safe=True)
    health.counts["eth1 plca_unexpected_beacons"] = 0
    play(watch, started())
    health.counts["eth1 plca_unexpected_beacons"] = 1
    play(watch, ended(), end)
    told = "second coordinator: eth1 plca_unexpected_beacons rose from 0 to 1"

    assert [each.aborted for each in journalled(evidence, RunEnded)] == [told]


def test_another_reason_why_a_run_ended_stays(watch, evidence):
    end = RunEnded(at=NOW, outcome="pass", counts={}, aborted="ended by SIGINT", safe=True)
    ALARM.sound("second coordinator")
    play(watch, end)

    assert [each.aborted for each in journalled(evidence, RunEnded)] == ["ended by SIGINT"]


def test_what_rose_between_two_cases_is_told_and_blames_neither(watch, health, evidence):
    play(watch, started(), ended())
    health.counts["eth1 collisions"] = 3
    play(watch, started(), ended())

    assert [case.reasons for case in journalled(evidence, CaseEnded)] == [(), ()]
    (note,) = journalled(evidence, HostNoted)
    assert note.text.startswith("eth1 collisions rose from 0 to 3 between two cases: two sent")


def test_a_run_ends_safe_when_a_second_coordinator_shows(tmp_path):
    text = (ROOT / "fixtures" / "glasshouse.yaml").read_text("utf-8")
    told = "cistern: {id: 2, stub: 40 mm, unexpected-beacons: distance}"
    (tmp_path / "bench.yaml").write_text(text.replace("cistern: {id: 2, stub: 40 mm}", told))
    (tmp_path / "plan.yaml").write_text(PLAN)
    options = Options(
        plans=(str(tmp_path / "plan.yaml"),),
        bench=str(tmp_path / "bench.yaml"),
        virtual=True,
        reports=str(tmp_path / "reports"),
    )
    finished = run_plans(options, say=lambda text: None)

    first, second = finished.result.cases
    assert (first.outcome.word, second.outcome.word) == ("error", "not run")
    assert "second coordinator: cistern.distance rose from" in first.reasons[0]
    assert finished.result.safe
    assert finished.code == 3


def test_health_is_told_before_the_first_case_and_at_the_end(watch, evidence):
    watch.hear(sampled("feedline.pressure", 6))
    end = RunEnded(at=NOW, outcome="pass", counts={}, aborted="", safe=True)
    play(watch, started(), ended(), started(), ended(), end)

    told = journalled(evidence, BusHealth)
    assert [each.who for each in told] == 2 * ["interface", "feedline", "cistern"]
    assert told[1].facts == (("feedline.pressure", "6 bar"),)
    assert told[2].facts == (("cistern.distance", "not measured"),)


@pytest.mark.parametrize(("value", "notes"), [(5, 0), (4, 1), (None, 0)])
def test_a_quality_below_the_limit_is_noted_an_unknown_one_is_not(watch, evidence, value, notes):
    watch.hear(sampled("feedline.pressure", value))
    play(watch, started())

    found = journalled(evidence, HostNoted)
    assert len(found) == notes
    assert all("signal quality of feedline is 4, the bench" in note.text for note in found)


def test_a_segment_that_cannot_work_is_refused(glasshouse):
    segment = replace(glasshouse.bus.segment, node_count=4)
    rack = replace(glasshouse, bus=replace(glasshouse.bus, segment=segment))

    with pytest.raises(DescriptionError, match="count-too-small"):
        refuse_wrong_segment(rack, ())
    refuse_wrong_segment(glasshouse, ())
