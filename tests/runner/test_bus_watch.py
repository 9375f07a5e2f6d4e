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
from hil.runner.evidence import Evidence
from hil.wire.segment import Diagnosis

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
    return BusWatch(replace(glasshouse, bus=bus), evidence, health=health)


class PaperHealth:
    def __init__(self):
        self.counts = {"eth1 collisions": 0}

    def facts(self):
        return (("link", "up"), ("signal quality", "not measured"))

    def counters(self):
        return dict(self.counts)

    def troubles(self):
        return []


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
    assert reason == "bus fault suspected: eth1 collisions rose from 0 to 2 during the case"


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
