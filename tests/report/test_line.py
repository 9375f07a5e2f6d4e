"""Lines in a window: broken at blanks, hanging, nothing lost; cropped with an ellipsis."""

import doctest

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

import hil.report.line
from hil.report.line import Tone, crop, plain, spell, text_of, wrap


def line(*texts):
    return tuple(
        (text, tone) for text, tone in zip(texts, (Tone.BAD, Tone.STRONG, Tone.QUIET), strict=False)
    )


def wrapped(text, width):
    return plain(wrap(line(text), width)).splitlines()


@pytest.mark.parametrize(
    ("width", "text", "expected"),
    [
        (40, "short enough", ["short enough"]),
        (16, "one two three four", ["one two three", "    four"]),
        (20, "  one two three four five", ["  one two three four", "      five"]),
        (28, "failed        a vane reaches its angle", ["failed        a vane reaches", " " * 14 + "its angle"]),
        (24, "    bytes   31 0a 0b 0c 0d", ["    bytes   31 0a 0b 0c", " " * 12 + "0d"]),
        (28, "    not run   one two three four", ["    not run   one two three", " " * 14 + "four"]),
        (10, "abcdefghijklmno", ["abcdefghij", "    klmno"]),
        (12, "of abcdefghijklmno", ["of", "    abcdefgh", "    ijklmno"]),
        (20, "a very long label, too  x y", ["a very long label,", "    too  x y"]),
    ],
)  # fmt: skip
def test_a_line_breaks_at_blanks_and_hangs(width, text, expected):
    assert expected == wrapped(text, width)


texts = st.lists(st.text("ab 漢–", max_size=30), min_size=1, max_size=3)


@given(texts, st.integers(8, 60))
def test_nothing_is_lost_and_everything_fits(pieces, width):
    whole = line(*pieces)
    parts = wrap(whole, width)

    assert all(cell_len(text_of(part)) <= width for part in parts)
    assert "".join(text_of(part) for part in parts).replace(" ", "") == "".join(pieces).replace(
        " ", ""
    )


@given(texts, st.integers(8, 60))
def test_every_letter_keeps_its_tone(pieces, width):
    def toned(lines):
        return [(letter, tone) for each in lines for text, tone in each for letter in text if letter != " "]  # fmt: skip

    assert toned([line(*pieces)]) == toned(wrap(line(*pieces), width))


def test_the_longest_piece_gives_way():
    cropped = crop(line("fail  ", "Vanes: a vane reaches its angle", "  600 ms"), 30)

    assert text_of(cropped) == "fail  Vanes: a vane r…  600 ms"


def test_a_line_that_fits_is_left_alone():
    assert crop(line("fail  ", "title"), 11) == line("fail  ", "title")


def test_what_an_encoding_carries_is_left_alone():
    assert spell(line("– Ω"), "utf-8") == line("– Ω")
    assert text_of(spell(line("45 ± 1 µs –"), "latin-1")) == "45 ± 1 µs -"


def test_the_examples_in_the_text_are_true():
    failed, tried = doctest.testmod(hil.report.line)

    assert tried
    assert not failed
