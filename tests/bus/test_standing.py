"""The demo's segment and deadlines: what is possible, and where what is not is said to be."""

import re
from pathlib import Path

import pytest
from bus.benches import GLASSHOUSE, changed
from bus.segments import sizes
from hypothesis import given, settings
from hypothesis import strategies as st

from hil.bus.budget import budget
from hil.bus.deadline import Fit
from hil.bus.findings import Severity
from hil.bus.standing import stand
from hil.bus.way import route, ways
from hil.bus.wiring import find
from hil.core.instant import MICROSECOND, MILLISECOND
from hil.files.read import read_plan
from hil.wire.segment import Participant, Segment

ROOT = Path(__file__).parents[2]
PLAN = """\
plan: P
cases:
  - case: c
    steps:
      - stimulus: {feedline.pressure: 4.8 bar}
        expect:
          - {signal: feedline.pressure, value: 4.8 bar, within: @}
"""


def read(*changes):
    return changed(GLASSHOUSE, *changes)


@pytest.fixture
def plan(tmp_path):
    def go(rack, within, text=PLAN):
        file = tmp_path / "plan.yaml"
        file.write_text(text.replace("@", within), encoding="utf-8")
        return read_plan(file, rack)

    return go


def fits(standing):
    return [each.ruling.fit for each in standing.asked]


def test_nothing_is_wrong_with_the_demo_but_its_many_nodes():
    standing = stand(read())

    assert [each.code for each in standing.findings] == ["many-nodes"]
    assert standing.mistakes() == []


@pytest.mark.parametrize(
    ("within", "fit"),
    # command and reading at best: 64 and 72 octet frames with 8 + 1 octets around them
    # (plca.yaml's formula, INET showcase tenbaset1s): 584 + (9 + 72) * 8 = 1232 bt = 123.2 µs
    [("126 us", Fit.IMPOSSIBLE), ("127 us", Fit.TIGHT), ("100 ms", Fit.COMFORTABLE)],
)
def test_a_deadline_is_held_against_command_and_reading(plan, within, fit):
    rack = read()

    assert fits(stand(rack, [plan(rack, within)])) == [fit]


def test_an_impossible_deadline_is_wrong_and_a_tight_one_odd_at_their_place(plan):
    rack = read()

    (wrong,) = stand(rack, [plan(rack, "90 us")]).mistakes()
    (odd,) = stand(rack, [plan(rack, "20 ms")]).mistakes()

    assert (wrong.warning, odd.warning) == (False, True)
    assert (wrong.mark.line, wrong.mark.column) == (7, 13)
    assert "feedline.pressure: impossible on this segment, the line needs at least" in wrong.what
    assert "a good node can miss it" in odd.what


def test_what_nodes_send_each_other_counts_for_the_worst(plan):
    rack = read()
    near = stand(rack, [plan(rack, "1 s")]).asked[0]
    far = stand(
        rack,
        [
            plan(
                rack,
                "1 s",
                PLAN.replace(
                    "signal: feedline.pressure, value: 4.8 bar", "signal: beacon.lamp, value: red"
                ),
            )
        ],
    ).asked[0]
    worst = {path.traffic.name: path.worst * 100 for path in stand(rack).budget.paths}

    assert far.worst == (
        worst["feedline.commands"]
        + worst["feedline.to-console"]
        + worst["console.to-beacon"]
        + worst["beacon.readings"]
    )
    assert near.worst == worst["feedline.commands"] + worst["feedline.readings"]


def test_the_route_between_nodes_never_leads_through_the_tool():
    segment = read().bus.segment

    assert route(segment, "feedline", "beacon") == ("feedline.to-console", "console.to-beacon")
    assert route(segment, "lamps", "beacon") is None
    assert route(segment, "lamps", "lamps") == ()


def test_every_signal_has_its_way():
    rack = read()
    standing = stand(rack)
    found = ways(rack, standing.bus.segment, standing.budget)
    sensed = {name for way in found if not way.driven for name in way.signals}
    driven = {name for way in found if way.driven for name in way.signals}

    assert sensed == {path for path, signal in rack.signals().items() if signal.sensed}
    assert driven == {path for path, signal in rack.signals().items() if signal.drive}
    assert all(way.best >= 58 * MICROSECOND for way in found)
    assert all(way.worst is not None and way.worst < 40 * MILLISECOND for way in found)


def test_a_finding_stands_where_its_participant_does():
    rack = read(("cistern: {id: 2,", "cistern: {id: 1,"))
    line = GLASSHOUSE[: GLASSHOUSE.index("    feedline: {id: 1,")].count("\n") + 1

    (wrong,) = (each for each in stand(rack).mistakes() if not each.warning)

    assert "feedline and cistern have the same PLCA id 1" in wrong.what
    assert wrong.what.endswith("(id-repeated)")
    assert wrong.mark.line == line


@pytest.mark.parametrize(
    ("old", "new", "code"),
    # what goes wrong in practice: two coordinators, none, 255, fewer turns than nodes
    [
        ("feedline: {id: 1,", "feedline: {id: 0,", "two-coordinators"),
        ("tool: {id: 0}", "tool: {id: 11}", "no-coordinator"),
        ("console: {id: 10}", "console: {id: 255}", "id-255"),
        ("node-count: 11", "node-count: 4", "count-too-small"),
        ("terminated: [tool, console]", "terminated: [tool]", "end-open"),
    ],
)
def test_a_segment_that_cannot_work_is_wrong(old, new, code):
    wrong = [each.what for each in stand(read((old, new))).mistakes() if not each.warning]

    assert any(f"({code})" in what for what in wrong), wrong


def test_tight_deadlines_are_not_told_where_the_segment_itself_is_wrong(plan):
    rack = read(("console: {id: 10}", "console: {id: 255}"))

    told = stand(rack, [plan(rack, "20 ms")]).mistakes()

    assert all(mistake.mark.file.endswith("bench.yaml") for mistake in told)


def test_without_plca_nothing_bounds_the_line_and_that_is_told_once(plan):
    rack = read(("  rate: 10 Mbit/s", "  rate: 10 Mbit/s\n  plca: no"))
    both = PLAN.replace("signal: feedline.pressure,", "signal: [feedline.pressure],") + (
        "          - {signal: beacon.lamp, value: red, within: 1 s}\n"
    )

    standing = stand(rack, [plan(rack, "1 s", both)])

    assert fits(standing) == [Fit.TIGHT, Fit.TIGHT]
    told = [each.what for each in standing.mistakes() if "nothing bounds the time" in each.what]
    assert len(told) == 1
    assert re.search(r"so for 2 deadlines in all", told[0])


@settings(max_examples=100, deadline=None)
@given(
    numbers=st.lists(st.none() | st.integers(-3, 300), min_size=1, max_size=12),
    count=st.integers(-2, 300),
    timer=st.integers(-1, 300),
    burst=st.integers(-1, 300),
    plca=st.booleans(),
)
def test_any_numbers_are_ruled_on_and_wrong_ones_found(numbers, count, timer, burst, plca):
    participants = tuple(
        Participant(name=f"n{each}", plca_id=number, to_timer=timer, burst_count=burst)
        for each, number in enumerate(numbers)
    )
    segment = Segment(participants=participants, node_count=count, plca=plca, traffic=sizes([40]))
    found = find(segment, budget(segment))

    ids = [number for number in numbers if number is not None and 0 <= number < 255]
    sound = len(set(ids)) == len(numbers) and 0 in ids and max(ids) < count <= 255
    sound = sound and 1 <= timer <= 255 and 0 <= burst <= 255
    assert any(each.severity is Severity.ERROR for each in found) == (plca and not sound)
