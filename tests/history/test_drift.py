"""Series of figures, and where they go."""

from datetime import timedelta

import pytest
from history.nights import FIRST, folder_of, history, identified, keep_run, night, place_of

from hil.history.drift import FEWEST, drift_of, urgency
from hil.history.runs import newest
from hil.history.series import Of, Wanted, find_series

MS = 1_000_000
NOISE = [0.01, -0.01, 0.005, -0.008, 0.009, -0.004, 0.002, -0.009, 0.008, -0.002]


def nights_of(margins, extra=lambda number: (), **more):
    return [
        night(("a", "pass" if m >= 0 else "fail", {"margin": m} | more), extra=extra(number))
        for number, m in enumerate(margins)
    ]


def series(connection, of=Of.MARGIN, most=10, **wanted):
    return find_series(connection, newest(connection, 99), Wanted(**wanted), of, most)


def drift(connection, of=Of.MARGIN):
    (found,) = series(connection, of)
    return drift_of(found)


def test_a_falling_margin_reaches_its_limit_in_so_many_nights(tmp_path, reading):
    margins = [0.5 - 0.02 * n + NOISE[n % 10] for n in range(15)]
    found = drift(reading(history(tmp_path, nights_of(margins))))

    assert found.worsens
    assert found.slope.slope == pytest.approx(-0.02, abs=0.002)
    assert found.reach.likely == pytest.approx(0.22 / 0.02, abs=2)
    assert found.reach.soonest <= found.reach.likely <= found.reach.latest


def test_nights_are_days_and_not_runs(tmp_path, reading):
    """Every second night no run: the slope is a night's all the same."""
    place = place_of(str(tmp_path / "history.sqlite"))
    for number in range(12):
        margin = 0.8 - 0.02 * number
        events = night(("a", "pass", {"margin": margin}))
        keep_run(place, folder_of(tmp_path, events, 2 * number))

    assert drift(reading(place)).slope.slope == pytest.approx(-0.01)


def test_a_steady_margin_says_nothing(tmp_path, reading):
    found = drift(reading(history(tmp_path, nights_of([0.5 + NOISE[n % 10] for n in range(20)]))))

    assert (found.worsens, found.reach, found.out_since) == (False, None, None)


def test_a_margin_that_never_varied_is_not_out_of_line(tmp_path, reading):
    found = drift(reading(history(tmp_path, nights_of([0.777777] * 12))))

    assert (found.worsens, found.out_since) == (False, None)


def test_a_shift_is_out_of_line_from_its_first_nights_on(tmp_path, reading):
    margins = [0.5 + NOISE[n % 10] - (0.1 if n >= 12 else 0) for n in range(20)]
    found = drift(reading(history(tmp_path, nights_of(margins))))

    assert found.out_since.run.started[:10] in ("2026-10-13", "2026-10-14")
    assert found.charts.cusum.fallen
    assert not found.charts.cusum.risen


def test_few_nights_have_no_charts_and_no_slope(tmp_path, reading):
    connection = reading(history(tmp_path, nights_of([0.5, 0.4, 0.3, 0.2])))
    found = drift(connection)

    assert (found.charts, found.slope, found.out_since) == (None, None, None)
    assert FEWEST > 4


@pytest.mark.parametrize(
    ("apart", "goes"), [(timedelta(minutes=4), False), (timedelta(days=1), True)]
)
def test_runs_of_one_evening_are_one_night(tmp_path, reading, apart, goes):
    place = place_of(str(tmp_path / "history.sqlite"))
    for number in range(6):
        events = night(("a", "pass", {"margin": 0.8 - 0.1 * number}))
        keep_run(place, folder_of(tmp_path, events, number, FIRST + number * apart))
    found = drift(reading(place))

    assert (found.slope is not None, found.reach is not None) == (goes, goes)


def test_firmware_is_marked_and_does_not_cut(tmp_path, reading):
    nights = nights_of([0.5] * 8, lambda n: [identified("1.4.2" if n < 5 else "1.5.0")])
    found = drift(reading(history(tmp_path, nights)))

    assert [(mark.place, mark.letter, mark.text) for mark in found.marks] == [
        (5, "F", "firmware 1.4.2 → 1.5.0")
    ]
    assert found.first == 0


def test_another_node_or_another_limit_begins_anew(tmp_path, reading):
    swapped = nights_of([0.5] * 8, lambda n: [identified(serial="A" if n < 3 else "B")])
    edited = nights_of([0.5] * 4) + nights_of([0.2] * 4, wanted="45.00 deg ± 1.00 deg")
    one = drift(reading(history(tmp_path / "one", swapped)))
    other = drift(reading(history(tmp_path / "two", edited)))

    assert (one.first, [mark.letter for mark in one.marks]) == (3, ["S"])
    assert (other.first, [mark.letter for mark in other.marks]) == (4, ["P"])


@pytest.fixture(autouse=True)
def _folders(tmp_path):
    for name in ("one", "two"):
        (tmp_path / name).mkdir()


def test_latencies_go_up_to_their_deadline(tmp_path, reading):
    nights = [
        night(("a", "pass", {"change": (0, (100 + 10 * n) * MS), "when": "within 500 ms"}))
        for n in range(12)
    ]
    found = drift(reading(history(tmp_path, nights)), Of.LATENCY)

    assert found.limit == 500 * MS
    assert found.worsens
    assert found.reach.likely == pytest.approx((500 - 210) / 10)


def test_a_figure_beyond_its_limit_comes_first(tmp_path, reading):
    nights = [
        night(
            ("a", "pass", {"margin": 0.9}),
            ("b", "pass", {"margin": 0.8 - 0.03 * n}),
            ("c", "fail", {"margin": -0.1}),
        )
        for n in range(12)
    ]
    found = sorted(map(drift_of, series(reading(history(tmp_path, nights)))), key=urgency)

    assert [each.series.title for each in found] == ["c", "b", "a"]
    assert [each.beyond for each in found] == [True, False, False]


def test_only_what_is_wanted_is_found(tmp_path, reading):
    nights = [
        night(
            ("a vane", "pass", {}),
            ("a lamp", "pass", {"signal": "beacon.lamp", "node": "beacon"}),
        )
        for _ in range(3)
    ]
    connection = reading(history(tmp_path, nights))

    def titles(**wanted):
        return {each.title for each in series(connection, **wanted)}

    assert titles() == {"a vane", "a lamp"}
    assert titles(case="VANE") == {"a vane"}
    assert titles(node="beacon") == {"a lamp"}
    assert titles(signal="beacon.lamp") == {"a lamp"}
    assert titles(plan="louv") == {"a vane", "a lamp"}
    assert titles(case="100%") == set()


def test_of_many_checks_the_closest_and_those_that_fall_are_found(tmp_path, reading):
    titles = [f"case {n}" for n in range(30)]
    nights = [
        night(
            *(
                (title, "pass", {"margin": 0.9 - 0.03 * n * (title == "case 7") - at / 100})
                for at, title in enumerate(titles)
            )
        )
        for n in range(10)
    ]
    connection = reading(history(tmp_path, nights))
    found = {each.title for each in series(connection, most=2)}

    assert {"case 29", "case 7"} <= found
    assert len(found) <= 4


def valued(figures, low="43.5", high="46.5"):
    facts = {"limits": ("between", low, high, "45")}
    return [night(("a", "pass", facts | {"got": f"{figure:.2f} deg"})) for figure in figures]


def test_a_value_goes_to_the_limit_on_its_way(tmp_path, reading):
    rising = [45 + 0.1 * n for n in range(10)]
    falling = [45 - 0.1 * n for n in range(10)]
    up = drift(reading(history(tmp_path / "one", valued(rising))), Of.VALUE)
    down = drift(reading(history(tmp_path / "two", valued(falling))), Of.VALUE)

    assert (up.limit, down.limit) == (46.5, 43.5)
    assert (up.reach.likely, down.reach.likely) == (pytest.approx(6), pytest.approx(6))


def test_a_steady_value_between_two_limits_has_a_capability(tmp_path, reading):
    figures = [45.4, 45.2, 45.3, 45.1, 45.3, 45.2, 45.4, 45.1]
    found = drift(reading(history(tmp_path, valued(figures))), Of.VALUE)

    assert found.capability.cp == pytest.approx(3 / (6 * 0.11952), rel=1e-3)
    assert found.capability.cpk == pytest.approx(1.25 / (3 * 0.11952), rel=1e-3)
    assert (found.beyond, found.reach) == (False, None)


def test_a_value_without_two_limits_has_none(tmp_path, reading):
    found = drift(reading(history(tmp_path, valued([45.1, 45.2] * 5, high=""))), Of.VALUE)

    assert (found.limit, found.capability) == (43.5, None)
