"""The live table: it fits every window, says everything in words, and colour is an extra."""

from decimal import Decimal
from unicodedata import category

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len

from hil.cli.sgr import Colours, render, text_of
from hil.cli.spark import in_letters, spark
from hil.cli.watch_table import WatchTable
from hil.core.instant import MILLISECOND, SECOND, Duration, Instant
from hil.core.observation import NodeNote, NodeTrouble, Samples
from hil.core.signal import Kind, Sample, Signal, Validity
from hil.files.read import read_alarms_with_findings, read_rack
from hil.runner.course import Gap
from hil.runner.live import Live

PERIOD = Duration(250 * MILLISECOND)


@pytest.fixture(scope="module")
def glasshouse(request):
    fixtures = request.config.rootpath / "fixtures"
    rack = read_rack(fixtures / "glasshouse.yaml")
    return rack, read_alarms_with_findings([fixtures / "glasshouse-alarms.yaml"], rack).specs


@pytest.fixture
def live(glasshouse):
    rack, specs = glasshouse
    return Live(tuple(rack.signals().values()), Instant(0), period=PERIOD, specs=specs)


def give(live, path, value, at=0, validity=Validity.VALID, note="", raw=b"\x31"):
    value = Decimal(str(value)) if isinstance(value, int | float) else value
    sample = Sample(path, value, validity, Instant(at), Instant(at), note, raw)
    live.receive(Samples(path.partition(".")[0], [sample]), Instant(at))


def frame(live, now=SECOND, columns=120, lines=40, first=0, colours=None, letters=False):
    table = WatchTable("glasshouse", colours or Colours(False), letters=letters)
    return table.frame(live, Instant(now), columns, lines, first)[0]


def row(live, path, **more):
    lines = [text_of(line) for line in frame(live, **more)]
    return next(line for line in lines if line.startswith(path))


def test_a_value_has_its_unit_age_rate_course_and_band(live):
    for turn in range(8):
        give(live, "feedline.pressure", 4.8, turn * PERIOD)
        live.tick(Instant((turn + 1) * PERIOD))
    line = row(live, "feedline.pressure", now=8 * PERIOD)

    assert line.split() == [
        "feedline.pressure",
        "4.80" if "4.80" in line else "4.8",
        "bar",
        "0.2",
        "s",
        "4.0",
        "▁▁▁▁▁▁▁▁",
        "■",
        "over",
        "(red)",
    ]


def test_a_band_is_a_word_first_and_a_colour_as_well(live):
    give(live, "feedline.pressure", 4.8)
    colours = Colours(True, {"TERM": "xterm-256color"})
    pieces = next(
        line
        for line in frame(live, colours=colours)
        if text_of(line).startswith("feedline.pressure")
    )

    assert ("■ ", "38;5;196") in pieces
    assert any(text == "over (red)" for text, _ in pieces)


def test_without_colour_no_style_is_written(live):
    give(live, "feedline.pressure", 4.8)

    assert "\x1b" not in "".join(render(line) for line in frame(live))


@pytest.mark.parametrize(
    ("validity", "note", "raw", "words"),
    [
        (Validity.INVALID, "sentinel 0x7fff", b"\x31", "no value"),
        (Validity.INVALID, "sentinel 0x7fff", b"\x31", "sentinel 0x7fff"),
        (Validity.STALE, "nothing for 500 ms", b"", "stale"),
    ],
)
def test_what_is_no_value_is_said_in_words(live, validity, note, raw, words):
    give(live, "feedline.pressure", None, validity=validity, note=note, raw=raw)

    assert words in row(live, "feedline.pressure")


def test_a_warm_up_shows_the_value_and_says_so(live):
    give(live, "mast.humidity", 50, validity=Validity.STALE, note="warming up")
    line = row(live, "mast.humidity")

    assert "50 %" in line
    assert line.endswith("warming up")


def test_what_was_never_heard_says_why(live):
    note = NodeNote(
        node="beacon", trouble=NodeTrouble.UNREACHABLE, at=Instant(5), text="port is closed"
    )
    live.receive(note, Instant(5))
    lines = [text_of(line) for line in frame(live, lines=80)]

    assert next(line for line in lines if line.startswith("beacon.lamp")).endswith("port is closed")
    assert next(line for line in lines if line.startswith("tile.disc")).endswith(
        "nothing heard yet"
    )
    assert "0.0 s beacon: port closed, port is closed" in lines[-2]


def test_rows_that_have_no_room_are_reached_by_scrolling(live):
    lines = [text_of(line) for line in frame(live, lines=10, first=5)]

    assert len(lines) == 10
    assert lines[2].startswith(list(live.courses)[5])
    assert lines[-1].endswith("6 to 12 of 63")


def test_a_narrow_window_leaves_out_course_rate_and_age_in_this_order(live):
    give(live, "feedline.pressure", 4.8)
    heads = [text_of(frame(live, columns=columns)[1]).split() for columns in (120, 80, 70, 55)]

    assert [("course" in head, "per" in head, "age" in head) for head in heads] == [
        (True, True, True),
        (False, True, True),
        (False, False, True),
        (False, False, False),
    ]


PATHS = ["feedline.pressure", "tile.caption", "beacon.lamp", "mast.barometer", "cistern.level"]
SAID = st.tuples(
    st.sampled_from(PATHS), st.floats(-1e9, 1e9) | st.text(max_size=40), st.text(max_size=30)
)


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 200), st.integers(1, 70), st.integers(0, 62), st.lists(SAID, max_size=5))
def test_it_fits_every_window(glasshouse, columns, lines, first, said):
    rack, specs = glasshouse
    live = Live(tuple(rack.signals().values()), Instant(0), period=PERIOD, specs=specs)
    for path, value, note in said:
        give(live, path, value, note=note)
    live.tick(Instant(PERIOD))

    for line in frame(live, columns=columns, lines=lines, first=first):
        text = text_of(line)
        assert cell_len(text) <= columns
        assert not [sign for sign in text if category(sign) == "Cc"], text


# --- courses --------------------------------------------------------------------------------------

PRESSURE = Signal(
    node="n",
    name="p",
    kind=Kind.NUMBER,
    unit="bar",
    noise=Decimal("0.1"),
    resolution=Decimal("0.01"),
)
LAMP = Signal(node="n", name="l", kind=Kind.LABEL, labels=("off", "green", "amber", "red"))


def test_a_course_goes_from_its_lowest_to_its_highest():
    assert spark([0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0], PRESSURE, 8) == "▁▂▃▄▅▆▇█"


def test_noise_alone_does_not_fill_the_height():
    signs = set(spark([1.0, 1.1, 1.0, 0.9, 1.1], PRESSURE, 5))

    assert not signs & set("▁█")


def test_what_stays_the_same_is_a_line_at_the_bottom():
    assert spark([4.0] * 5, PRESSURE, 5) == "▁▁▁▁▁"


def test_a_label_stands_by_its_place():
    assert spark([0.0, 1.0, 2.0, 3.0], LAMP, 4) == "▁▃▆█"


def test_gaps_and_the_unknown_have_signs_of_their_own():
    assert spark([None, 1.0, Gap.INVALID, Gap.STALE, 2.0], PRESSURE, 6) == "  ▁×·█"


def test_only_the_last_entries_are_drawn():
    assert spark([9.0, 9.0, 1.0, 2.0], PRESSURE, 2) == "▁█"
    assert spark([1.0], PRESSURE, 0) == ""


def test_a_terminal_of_few_signs_gets_letters():
    shown = in_letters(spark([None, 0.0, 7.0, Gap.INVALID, Gap.STALE], PRESSURE, 5) + "■↑↓…")

    assert shown.isascii()
    assert len(set(shown[1:5])) == 4
