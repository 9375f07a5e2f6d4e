"""The demo's own files: they read without a mistake and prove what they are there for."""

import struct
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from nodes.hand import FIXTURES, crc16, glasshouse

from hil.bench.interrupt import Interrupts
from hil.bench.loop import drive
from hil.core.event import CaseEnded, Event
from hil.core.plan import Case, Plan, Unchanged
from hil.files.read import read_plans_with_warnings, read_rack
from hil.nodes.settings import DEFAULTS
from hil.runner.session import Session
from hil.runner.site import virtual_site
from hil.wire.link import Links
from hil.wire.rack import Rack

PLANS = sorted((FIXTURES.parent / "testplans").glob("[0-9]*.yaml"))


@cache
def plans() -> dict[str, Plan]:
    return {
        plan.title: plan for plan in read_plans_with_warnings(PLANS, glasshouse(), asked=()).plans
    }


def cases() -> Iterator[Case]:
    for plan in plans().values():
        yield from plan.cases


def failed(title: str, **settings: str) -> list[str]:
    """Run one plan on a rack with other settings; return the cases that did not pass."""
    rack = glasshouse()
    assert rack.software is not None
    written = {name.replace("_", "-"): text for name, text in settings.items()}
    software = replace(rack.software, settings={**rack.software.settings, **written})
    return _run(replace(rack, software=software), plans()[title].cases)


def _run(rack: Rack, chosen: tuple[Case, ...]) -> list[str]:
    ended: list[CaseEnded] = []

    def record(event: Event) -> None:
        if isinstance(event, CaseEnded):
            ended.append(event)

    with Interrupts() as interrupts, virtual_site(rack, interrupts) as site:
        start = site.bench.now()
        session = Session(rack, chosen, start)
        drive(session, Links(rack, start), site.bench, record, origin=start)
    assert len(chosen) == len(ended)
    return [event.case.partition(" [")[0] for event in ended if event.outcome != "pass"]


@pytest.mark.parametrize("name", ["glasshouse.yaml", "first-node.yaml"])
def test_bench_files_have_a_worked_example_for_every_layout(name: str) -> None:
    rack = read_rack(FIXTURES / name)  # which checks the examples both ways
    layouts = {layout.name: layout for node in rack.nodes for layout in node.layouts}

    assert all(layout.examples for layout in layouts.values())


@pytest.mark.parametrize("name", ["glasshouse.yaml", "first-node.yaml"])
def test_worked_examples_carry_a_crc_computed_bit_by_bit(name: str) -> None:
    # The published check value of this CRC over the ASCII text 123456789.
    assert crc16(b"123456789") == 0x29B1
    for node in read_rack(FIXTURES / name).nodes:
        for layout in node.layouts:
            for example in layout.examples:
                assert (crc16(example.raw[:-2]),) == struct.unpack(">H", example.raw[-2:])


def test_settings_written_in_the_bench_file_are_the_defaults() -> None:
    software = glasshouse().software

    assert software is not None
    assert dict(DEFAULTS) == dict(software.settings)


def test_plans_read_and_are_many() -> None:
    titles = {case.title.partition(" [")[0] for case in cases()}

    assert len(plans()) >= 8
    assert len(titles) >= 60
    assert len(list(cases())) >= 100


def test_plans_touch_every_signal_of_the_rack() -> None:
    touched: set[str] = set()
    for case in cases():
        for step in case.steps:
            touched.update(stimulus.signal for stimulus in step.stimuli)
            for expectation in step.expectations:
                if not isinstance(expectation.condition, Unchanged):  # `others` names all of them
                    touched.update(expectation.signals)
    never = {"cistern.power", "mast.power", "circulator.power", "lamps.power", "tile.power"}
    never |= {"pendant.power"}  # every node restarts in the same way; four of them are proven

    assert never == glasshouse().signals().keys() - touched


def test_every_case_has_a_requirement_and_a_known_tag() -> None:
    assert all(case.requirements for case in cases())
    assert {tag for case in cases() for tag in case.tags} == {
        "smoke",
        "show",
        "nightly",
        "measures",
    }


@pytest.mark.parametrize("path", PLANS, ids=lambda path: path.stem)
def test_plan_passes_on_the_software_rack(path: Path) -> None:
    title = next(plan.title for plan in plans().values() if Path(plan.file) == path)

    assert failed(title) == []


AMBER_EDGES = ["amber begins at exactly 3.60 bar", "amber ends at exactly 3.45 bar"]
RED_EDGES = ["red begins at exactly 4.50 bar", "red ends at exactly 4.35 bar"]
TRIP_POINTS = "the head unit works with the trip points of the specification"
RECOVERY = "a feed that recovers turns green at exactly 1.15 bar"


@pytest.mark.parametrize(
    ("plan", "setting", "noticed"),
    [
        ("Feed pressure", {"feed_amber": "3.61 bar"}, [TRIP_POINTS, *AMBER_EDGES]),
        ("Feed pressure", {"feed_red": "4.51 bar"}, [TRIP_POINTS, *RED_EDGES]),
        (
            "Feed pressure",
            {"feed_low": "0.99 bar"},
            ["a starved feed turns amber at exactly 1.00 bar", RECOVERY],
        ),
        (
            "Feed pressure",
            {"feed_dead_band": "0.14 bar"},
            [AMBER_EDGES[1], RED_EDGES[1], RECOVERY],
        ),
        (
            "Feed pressure",
            {"sensor_lag": "40 ms"},
            ["the pressure sensor is no slower than 100 ms"],
        ),
        (
            "Water level",
            {"level_low": "25.2 %"},
            ["the edge of the low band is at 25 %, and it takes 2 % to come back"],
        ),
        ("Grow lamps", {"lamps_on": "402 lx"}, ["the lamps go on at 400 lx"]),
        ("Grow lamps", {"lamps_off": "598 lx"}, ["the lamps go off at 600 lx"]),
        (
            "Climate mode",
            {"climate_band": "0.6 degC"},
            [
                "heating begins half a degree below the target and ends on it",
                "cooling begins half a degree above the target and ends on it",
            ],
        ),
        ("Manual mode", {"stick_dead_zone": "11 %"}, ["a stick near its centre is at rest"]),
        ("Sun mode", {"sun_step": "1 deg"}, ["the vanes ignore a sun that has hardly moved"]),
        (
            "Sensor faults",
            {"silence": "700 ms"},
            ["a sensor that falls silent is shown in blue after half a second"],
        ),
        (
            "Vanes",
            {"vane_slew": "150 deg/s"},
            ["a vane reaches its angle, not too early and not too late"] * 8
            + ["a vane settles without overshoot"],
        ),
        ("Vanes", {"vane_lag": "50 ms"}, ["a vane settles without overshoot"]),
    ],
)
def test_one_changed_threshold_fails_exactly_the_cases_that_watch_it(
    plan: str, setting: dict[str, str], noticed: list[str]
) -> None:
    assert noticed == failed(plan, **setting)
