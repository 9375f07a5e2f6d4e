"""The points of alarm specs on the terminal."""

from dataclasses import replace

import pytest
from report.alarm_paper import RESET, SPEC, TRIP

from hil.report.alarm_table import alarm_table, difference_text, interval_text, measured_text
from hil.report.line import Tone, plain, text_of
from hil.report.tally import fold


def test_each_point_has_a_row_of_seven_columns(tmp_path):
    table = plain(alarm_table(fold([SPEC, TRIP, RESET]).alarms, tmp_path)).splitlines()

    assert table[1:5] == [
        "Feed pressure: feedline.pressure in bar",
        "edge        direction  specified  measured         interval      difference  verdict",
        "high trip   rising          3.60  3.6550 ± 0.0058  3.65 to 3.66  +0.0600     fail",
        "high reset  falling         3.45  3.4550 ± 0.0058  3.45 to 3.46  0           pass",
    ]
    assert len(table) == 6


@pytest.mark.parametrize(
    ("there", "told"),
    [
        (("alarms.csv", "alarm-feed-pressure.svg"), ", alarms.csv, alarm-feed-pressure.svg"),
        (("alarms.csv",), ", alarms.csv"),
        ((), ""),
    ],
)
def test_only_files_that_were_written_are_named(tmp_path, there, told):
    for name in there:
        (tmp_path / name).write_text("")
    last = plain(alarm_table(fold([SPEC, TRIP, RESET]).alarms, tmp_path)).splitlines()[-1]

    assert last == (f"beside the evidence: {told[2:]}" if told else "")


def test_verdicts_have_their_tones(tmp_path):
    tones = {
        text.strip(): tone
        for line in alarm_table(fold([SPEC, TRIP, RESET]).alarms, tmp_path)
        for text, tone in line
    }

    assert (tones["fail"], tones["pass"]) == (Tone.BAD, Tone.GOOD)
    assert (tones["+0.0600"], tones["0"]) == (Tone.BAD, Tone.PLAIN)


def test_a_long_name_breaks_in_its_column_and_the_page_stays_100_wide(tmp_path):
    name = "much too high for the pipe that leads to the far end of the house"
    rows = [replace(TRIP, alarm=name, outcome="inconclusive")]
    lines = [text_of(line) for line in alarm_table(fold(rows).alarms, tmp_path)]

    assert max(len(line) for line in lines) <= 100
    second = lines[2].index("direction")
    words = " ".join(line[:second].strip() for line in lines[3:-1])
    assert words.split() == [*name.split(), "trip"]


def test_a_run_without_alarms_has_no_table(tmp_path):
    assert alarm_table(fold([]).alarms, tmp_path) == []


# GUM (JCGM 100:2008) 7.2.2: "m_S = (100,021 47 ± 0,000 79) g", expanded uncertainty U = 0,79 mg.
@pytest.mark.parametrize(
    ("mean", "uncertainty", "shown"),
    [
        ("100.02147", "0.00079", "100.02147 ± 0.00079"),
        ("100.021468", "0.000791", "100.02147 ± 0.00079"),
        ("1234.4", "57", "1234 ± 57"),
        ("3.6", "0", "3.6"),
        ("3.6", "", "3.6"),
        ("", "", "–"),
        ("nan", "0.1", "nan"),
    ],
)
def test_a_mean_is_told_to_two_digits_of_its_uncertainty(mean, uncertainty, shown):
    assert measured_text(replace(TRIP, mean=mean, uncertainty=uncertainty)) == shown


@pytest.mark.parametrize(
    ("low", "high", "shown"),
    [("1", "2", "1 to 2"), ("1", "", "above 1"), ("", "2", "below 2"), ("", "", "–")],
)
def test_an_end_that_was_not_found_is_open(low, high, shown):
    assert interval_text(replace(TRIP, low=low, high=high)) == shown


@pytest.mark.parametrize(
    ("difference", "shown"),
    [("0", "0"), ("0.0166667", "+0.0167"), ("-0.02", "-0.0200"), ("", "–"), ("odd", "odd")],
)
def test_a_difference_has_its_sign(difference, shown):
    assert difference_text(replace(TRIP, difference=difference)) == shown
