"""`alarms.csv` against RFC 4180, read back by the csv module."""

import csv
import io
from dataclasses import replace

from report.alarm_paper import RESET, SPEC, TRIP

from hil.report.alarm_csv import COLUMNS, alarms_csv
from hil.report.tally import fold


def test_it_reads_back_as_it_was_told():
    text = alarms_csv(fold([SPEC, TRIP, RESET]).alarms)
    first, second = csv.DictReader(io.StringIO(text, newline=""), strict=True)

    assert (first["specified"], first["measured"], first["unit"]) == ("3.60", "3.655", "bar")
    assert (first["low"], first["high"], first["difference"]) == ("3.65", "3.66", "0.06")
    assert (first["verdict"], first["odd"]) == ("fail", "3.61 bar; 3.64 bar")
    assert first["text"] == TRIP.text
    assert (second["point"], second["direction"], second["verdict"]) == ("reset", "falling", "pass")


def test_lines_and_quotes_are_those_of_the_rfc():
    # RFC 4180, section 2: 1. lines end with CRLF; 4. each line has the same number of fields;
    # 6. a field with a comma, a quote or a line end is quoted; 7. a quote inside is doubled.
    text = alarms_csv(fold([SPEC, replace(TRIP, alarm="a,b")]).alarms)
    lines = text.split("\r\n")

    assert lines[-1] == ""
    assert len(lines) == 5
    assert not any("\n" in line for line in lines)
    assert lines[0] == ",".join(COLUMNS)
    assert ',"a,b",trip,' in text
    assert '"trips rising, ""late"": between' in text


def test_signs_that_move_a_terminal_are_made_visible():
    assert "\x1b" not in alarms_csv(fold([replace(TRIP, text="\x1b[31m\r\n")]).alarms)
