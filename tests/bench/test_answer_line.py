"""From keys to answers: what confirms one, what is none, what a glove does."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hil.bench.answer_line import LONGEST, AnswerLine
from hil.core.errand import Reply


@pytest.mark.parametrize(
    ("keys", "reply"),
    [
        ("y\r", Reply.YES),
        ("y\n", Reply.YES),
        ("Y\r", Reply.YES),
        ("yes\r", Reply.YES),
        ("d\r", Reply.YES),
        ("  done \r", Reply.YES),
        ("yyyyyyyy\r", Reply.YES),
        ("n\r", Reply.NO),
        ("NO\r", Reply.NO),
        ("nnn\r", Reply.NO),
        ("t\r", Reply.UNSURE),
        ("?\r", Reply.UNSURE),
        ("can't  tell\r", Reply.UNSURE),
        ("n\x7fy\r", Reply.YES),
        ("nnnn\x15y\r", Reply.YES),
        ("\x1b[A\x1b[1;5C\x1bOPy\r", Reply.YES),  # arrows and a function key before it
        ("yn\r\ry\r", Reply.YES),
        ("q\rn\r", Reply.NO),
    ],
)
def test_a_line_that_is_confirmed_is_an_answer(keys, reply):
    assert AnswerLine().press(keys.encode()) is reply


@pytest.mark.parametrize(
    "keys", ["", "y", "\r", "\r\r\r", "   \r", "yn\r", "ja\r", "y\x7f\r", "\x00\x04\x1b"]
)
def test_anything_else_is_none(keys):
    assert AnswerLine().press(keys.encode()) is None


def test_what_was_no_answer_is_kept_to_be_told_and_the_line_begins_anew():
    line = AnswerLine()
    line.press(b"asdf\r")

    assert (line.odd, line.text) == ("asdf", "")
    assert line.press(b"y") is None
    assert line.text == "y"


def test_keys_may_come_one_by_one_and_cut_in_the_middle_of_an_arrow():
    line = AnswerLine()
    replies = [line.press(bytes([octet])) for octet in b"\x1b[Cy\r"]

    assert replies == [None, None, None, None, Reply.YES]


@settings(max_examples=100)
@given(st.lists(st.binary(max_size=200), max_size=10))
def test_no_keys_whatever_raise_or_grow_without_end(pieces):
    line = AnswerLine()
    for piece in pieces:
        line.press(piece)

    assert len(line.text) <= LONGEST
    assert line.text.isprintable()
    assert line.odd.isprintable()
