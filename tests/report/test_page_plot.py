"""The plot of a check: everything that decided it is in the picture, and nothing that nobody saw."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from report.runs import check

from hil.core.event import OperatorAsked
from hil.core.instant import Instant
from hil.core.signal import Sample, Validity
from hil.report.page.decimate import columns
from hil.report.page.moments import moments_of, origin_of, windows_of
from hil.report.page.plot import Seen, described, draw_check

MS = 1_000_000
SVG = "{http://www.w3.org/2000/svg}"


def looks(*values, every=20 * MS, start=0):
    return [
        Sample(
            "louvres.vane-2.position",
            None if value is None else value if isinstance(value, str) else Decimal(str(value)),
            Validity.INVALID if value is None else Validity.VALID,
            Instant(start + at * every),
            Instant(start + at * every),
        )
        for at, value in enumerate(values)
    ]


def failed(**more):
    facts = {
        "stimulus": 0,
        "limits": ("between", "43.50", "46.50", "45.00"),
        "timing": (("within", 600 * MS),),
        "elapsed": None,
        "at": Instant(601 * MS),
    }
    return check(0, "fail", **{**facts, **more})


def seen(samples, end=700 * MS, until=600 * MS):
    return Seen(samples=samples, start=-50 * MS, end=end, known_until=until, unit="deg")


def words(picture):
    root = etree.fromstring(picture.encode())
    return " | ".join("".join(e.itertext()) for e in root.iter(f"{SVG}text"))


def test_the_picture_shows_stimulus_deadline_unit_and_what_was_wanted():
    shown = words(draw_check(failed(), seen(looks(0, 20, 41, 42))))

    for part in ("stimulus", "decided at the deadline", "deg", "wanted 45.00 deg ± 1.50 deg"):
        assert part in shown


def test_the_window_is_drawn_where_it_was_wanted():
    picture = draw_check(failed(), seen(looks(0, 20, 41, 42)))
    root = etree.fromstring(picture.encode())
    hatched = [e for e in root.iter(f"{SVG}rect") if "rising-lines" in e.get("fill", "")]
    left, width = float(hatched[0].get("x")), float(hatched[0].get("width"))

    # 750 ms on 628 pixels from pixel 108: the stimulus 50 ms in, the deadline 600 ms later
    assert left == pytest.approx(108 + 628 * 50 / 750, abs=0.1)
    assert width == pytest.approx(628 * 600 / 750, abs=0.1)


def test_what_must_never_be_is_hatched_otherwise():
    never = failed(limits=("one of", "red"), timing=(("never", 300 * MS),), elapsed=40 * MS)
    picture = draw_check(never, seen(looks("amber", "amber", "red")))

    assert "url(#crosses)" in picture
    assert "url(#rising-lines)" not in picture
    assert "decided 40 ms" in words(picture)


def test_each_word_that_was_seen_or_wanted_has_a_row():
    labels = failed(limits=("one of", "red"), timing=(("within", 150 * MS),))
    shown = words(draw_check(labels, seen(looks("green", "amber"))))

    assert all(word in shown for word in ("red", "green", "amber"))


def test_a_hold_is_shown_with_its_end():
    held = failed(timing=(("within", 150 * MS), ("hold", 500 * MS)))

    assert "held 500 ms" in words(draw_check(held, seen(looks(45, 45, 12))))


def test_no_measurement_is_a_gap_with_a_cross():
    whole = draw_check(failed(), seen(looks(40, 41, 42)))
    broken = draw_check(failed(), seen(looks(40, None, 42)))

    assert broken.count("l8 8 m0 -8 l-8 8") == 1
    assert broken.count('stroke="#1b4f8a"') == whole.count('stroke="#1b4f8a"') + 1


def test_nothing_is_drawn_after_the_last_look():
    picture = draw_check(failed(), seen(looks(40), until=300 * MS))
    root = etree.fromstring(picture.encode())
    lines = [e.get("d") for e in root.iter(f"{SVG}path") if e.get("stroke") == "#1b4f8a"]

    assert float(lines[-1].rsplit("H", 1)[1]) == pytest.approx(108 + 628 * 350 / 750, abs=0.1)


def test_what_the_picture_shows_stands_in_it_in_words():
    root = etree.fromstring(draw_check(failed(), seen(looks(40, 41))).encode())

    assert described(failed(), seen(looks(40, 41))) == root.find(f"{SVG}desc").text
    assert root.find(f"{SVG}desc").text.startswith("vane reaches angle")


def test_a_million_looks_make_a_small_picture():
    many = looks(*(at % 7 for at in range(100_000)), every=6_000)

    assert len(draw_check(failed(), seen(many))) < 40_000


@pytest.mark.parametrize(
    "more", [{"stimulus": None}, {"limits": ("between", "1e400", "", "")}, {"limits": ()}]
)
def test_a_check_without_numbers_is_no_mistake(more):
    made = draw_check(failed(**more), seen(looks(40, 41)))

    assert made is None or made.startswith("<svg")


def test_without_a_look_there_is_no_picture():
    assert draw_check(failed(), seen([])) is None


@given(
    points=st.lists(st.tuples(st.integers(0, 50), st.integers(-9, 9)), min_size=1).map(
        lambda pairs: sorted(pairs, key=lambda pair: pair[0])
    )
)
def test_fewer_points_keep_the_ends_the_extremes_and_the_last_of_each_column(points):
    made = list(columns([(float(x), float(y)) for x, y in points]))

    assert [column.x for column in made] == sorted({x for x, _ in points})
    for column in made:
        heights = [y for x, y in points if x == column.x]
        assert heights[0] == column.first
        assert heights[-1] == column.last
        assert (min(heights), max(heights)) == (column.low, column.high)


# Each row: a timing, and its moments and windows by the table of hil.report.page.moments.
TIMINGS = [
    ((("within", 600),), [0, 600], [(0, 600, True)]),
    ((("within", 600), ("hold", 100)), [0, 600, 700], [(0, 700, True)]),
    ((("within", 600), ("not before", 50)), [0, 50, 600], [(0, 600, True)]),
    ((("from", 100), ("to", 400)), [0, 100, 400], [(100, 400, True)]),
    ((("from", 0), ("to", 400)), [0, 400], [(0, 400, True)]),
    ((("never", 300),), [0, 300], [(0, 300, False)]),
]


@pytest.mark.parametrize(("timing", "moments", "windows"), TIMINGS)
def test_every_timing_has_its_moments_and_windows(timing, moments, windows):
    one = failed(timing=timing)

    assert moments == [moment.at for moment in moments_of(one)]
    assert windows == [(w.start, w.end, w.wanted) for w in windows_of(one)]


def test_a_condition_turned_round_turns_its_window_round():
    (window,) = windows_of(replace(failed(), limits=("not between", "1", "2")))

    assert window.wanted is False


@pytest.mark.parametrize(
    ("step", "asked", "label", "along"),
    [
        (1, (), "stimulus", "time from the stimulus"),
        (0, (), "case began", "time from the beginning"),
        (1, (("act", ""),), "done", "time from the word done"),
        (1, (("act", "mast.light 200 lx"),), "stimulus", "time from the stimulus"),
        (1, (("look", "tile.disc red"),), "asked", "time from the question"),
    ],
)
def test_times_count_from_what_they_really_count_from(step, asked, label, along):
    events = [
        OperatorAsked(
            at=Instant(0),
            index=0,
            step=1,
            what=what,
            text="?",
            within=9,
            stand_in=by,
            place="p:1:1",
        )
        for what, by in asked
    ]
    wrong = failed(step=step)
    looked = replace(seen(looks(0, 20)), origin=origin_of(wrong, events))
    shown = words(draw_check(wrong, looked)).split(" | ")

    assert label in shown
    assert along in shown
