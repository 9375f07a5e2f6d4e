"""Durations: whole nanoseconds, exactly."""

import pytest

from hil.files.duration import read_duration
from hil.files.mistake import Misread


@pytest.mark.parametrize(
    ("text", "nanoseconds"),
    [
        ("600 ms", 600_000_000),
        ("1 min 30 s", 90_000_000_000),  # 1 min = 60 s: SI Brochure table 8
        ("2 h", 7_200_000_000_000),
        ("0.1 s", 100_000_000),
        ("1.5 us", 1_500),
        ("3 µs", 3_000),
        ("7 ns", 7),
        ("0 s", 0),
        ("1e-3 s", 1_000_000),
    ],
)
def test_duration_is_exact(text, nanoseconds):
    assert nanoseconds == read_duration(text)


@pytest.mark.parametrize(
    ("text", "what", "hint"),
    [
        ("50", "has no unit", "50 ms or 50 s"),
        ("1:30", "time on a clock", "90 s or 1 min 30 s"),
        ("09:30", "time on a clock", "570 s or 9 min 30 s"),
        ("1:00:05", "time on a clock", "1 h 0 min 5 s"),
        ("1,5 s", "decimal comma", "1.5 s"),
        ("50ms", "needs a blank", "50 ms"),
        ("5 bar", "not a unit of time", "h, min, s"),
        ("5 MS", "not a unit of time", "5 ms"),
        ("0.5 ns", "whole number of nanoseconds", ""),
        ("-1 s", "negative", ""),
        ("30 s 1 min", "out of order", "1 min 30 s"),
        ("9999 h", "366 days", ""),
        (".inf", "no limit", ""),
        ("soon", "not a number", ""),
        ("", "", ""),
    ],
)
def test_duration_refuses_with_advice(text, what, hint):
    with pytest.raises(Misread) as caught:
        read_duration(text)

    assert what in caught.value.what
    assert hint in caught.value.hint
