"""Trends on the terminal and as a picture."""

import re
import xml.etree.ElementTree as ET

import pytest
from history.nights import history, identified, night

from hil.history.drift import drift_of
from hil.history.nodes import node_lines, node_nights
from hil.history.passages import Stability, passages_of_cases, stability
from hil.history.runs import newest
from hil.history.series import Of, Wanted, find_series
from hil.history.told import case_lines, run_lines
from hil.history.trend import Trend
from hil.history.trend_picture import trend_picture
from hil.history.trend_table import trend_lines
from hil.report.line import plain

SVG = "{http://www.w3.org/2000/svg}"
NIGHTS = 20


@pytest.fixture
def connection(tmp_path, reading):
    nights = [
        night(
            ("a vane <1>", "pass" if n % 6 else "fail", {"margin": 0.6 - 0.02 * n + n % 3 / 100}),
            ("a lamp", "pass", {"margin": 0.5 + n % 4 / 100, "node": "beacon"}),
            extra=[identified("1.4.2" if n < 12 else "1.5.0")],
        )
        for n in range(NIGHTS)
    ]
    return reading(history(tmp_path, nights))


def drifts(connection, of=Of.MARGIN, **wanted):
    found = find_series(connection, newest(connection, 99), Wanted(**wanted), of, 9)
    return [drift_of(series) for series in found]


def plainly(found):
    return Trend(drifts=tuple(found), steady={}, found=len(found))


def test_a_falling_series_is_told_with_its_nights(connection):
    lines = plain(
        list(
            trend_lines(
                Trend(
                    drifts=tuple(drifts(connection, case="vane")),
                    steady={1: Stability(flips=3, chances=19, unstable=0)},
                    found=7,
                )
            )
        )
    )

    assert "a vane <1>, step 1: louvres.vane-2.position (# deg ± # deg, within)  Louvres" in lines
    assert re.search(
        r"falls by -0\.0\d\d a night .*; reaches its limit in about \d+ nights \(\d+ to \d+\)",
        lines,
    )
    assert "out of line since 2026-10-" in lines
    assert "F  2026-10-13  firmware 1.4.2 → 1.5.0" in lines
    assert "the case turned round 3 of 19 times (16 %)" in lines
    assert "limit +0.00 ╌" in lines
    assert "6 others are less urgent" in lines


def test_a_chart_has_a_column_for_each_run(connection):
    lines = plain(list(trend_lines(plainly(drifts(connection, case="vane")))))
    columns = {at for line in lines.splitlines() for at, sign in enumerate(line) if sign == "●"}

    assert len(columns) == NIGHTS
    assert max(columns) - min(columns) == NIGHTS - 1


def test_a_picture_is_well_formed_and_has_every_point(connection):
    found = drifts(connection)
    picture = trend_picture(found)
    root = ET.fromstring(picture)
    failed = sum(p.outcome != "pass" for each in found for p in each.series.points)

    assert len(root.findall(f"{SVG}circle")) == 2 * NIGHTS - failed
    assert len([b for b in root.findall(f"{SVG}rect") if b.get("width") == "8.00"]) == failed
    assert "a vane <1>" in root.findtext(f"{SVG}desc")
    assert "style" not in picture
    assert "script" not in picture


def test_a_picture_stays_on_its_paper(connection):
    root = ET.fromstring(trend_picture(drifts(connection)))
    width, height = float(root.get("width")), float(root.get("height"))
    numbers = [
        (float(x), float(y))
        for path in root.findall(f"{SVG}path")
        for x, y in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", path.get("d"))
    ]

    assert all(0 <= x <= width and 0 <= y <= height for x, y in numbers)


def test_two_pictures_of_one_history_are_the_same(connection):
    assert trend_picture(drifts(connection)) == trend_picture(drifts(connection))


def test_few_nights_make_a_picture_as_well(tmp_path, reading):
    place = history(tmp_path / "few", [night(("a", "pass", {"margin": 0.5}))] * 1)
    found = drifts(reading(place))

    assert ET.fromstring(trend_picture(found)).findall(f"{SVG}circle")
    assert "too few days" in plain(list(trend_lines(plainly(found))))


@pytest.fixture(autouse=True)
def _folder(tmp_path):
    (tmp_path / "few").mkdir()


def test_a_node_is_told_night_after_night(connection):
    runs = newest(connection, 99)
    lines = plain(list(node_lines("louvres", node_nights(connection, "louvres", runs))))

    assert lines.splitlines()[0] == "louvres  glasshouse:virtual"
    assert lines.count("GH-0104") == NIGHTS
    assert lines.count("1.5.0") == 8


def test_a_case_is_told_with_its_signs(connection):
    runs = newest(connection, 99)
    (found,) = passages_of_cases(connection, [1], runs).values()
    by_id = {run.id: run for run in runs}
    lines = plain(list(case_lines("Louvres", "a vane <1>", found, by_id, stability(found))))

    assert lines.splitlines()[1].strip() == "■●●●●●■●●●●●■●●●●●■●"
    assert "passed in 16 of 20 runs, turned round 7 of 19 times (37 %)" in lines
    assert "2026-10-19 01:00:00  fail          step 1: it was wrong" in lines


def test_runs_are_listed_with_what_was_odd(tmp_path, reading):
    events = night(("a", "pass", {}))
    connection = reading(history(tmp_path / "few", [events, events[:-1]]))
    lines = plain(list(run_lines(newest(connection, 9)))).splitlines()

    assert lines[0].split()[:3] == ["run", "rack", "began"]
    assert lines[1].endswith("killed, or still going on")
    assert lines[2].split()[-1] == "–"
