"""Patterns: what is understood, and that none can hold the run with any line."""

import re
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hil.wire.console.pattern import LONGEST, last_character, read_pattern
from hil.wire.console.pattern_text import PatternError


@pytest.mark.parametrize(
    ("text", "fits", "not_fits"),
    [
        (r"ok", "ok", "okay"),
        (r"ok.*", "ok, done", "not ok"),
        (r"(?:ok|err) \d+", "err 12", "ok x"),
        (r"t=(?P<t>-?\d+(?:\.\d+)?) degC", "t=-20.5 degC", "t=- degC"),
        (r"\[ *\d+\.\d{3}\] boot: ok", "[  12.345] boot: ok", "[12.3] boot: ok"),
        (r"a{2,3}b?", "aaab", "ab"),
        (r"[^:]*: [a-f0-9]+", "sum: ff", "sum ff"),
        (r"[\w.-]+", "a.b-c", "a b"),
        (r"\x41\tb", "A\tb", "Ab"),
        (r"\S+ \S+ \S+ \S+", "a b c d", "a b c"),
    ],
)
def test_a_pattern_fits_whole_lines(text, fits, not_fits):
    pattern = read_pattern(text)

    assert pattern.fullmatch(fits)
    assert not pattern.fullmatch(not_fits)


@pytest.mark.parametrize(
    "text",
    [
        # OWASP, "Regular expression Denial of Service": the evil patterns of its list
        r"(a+)+",
        r"([a-zA-Z]+)*",
        r"(a|aa)+",
        r"(a|a?)+",
        r"(.*a){10}",
        # the same kind, in other words
        r"(?:x+y?)*",
        r"((a?)b?)+",
        r".*.*.*!",
        r".*: .*: .*: x",
        r"a?a?a?a?aaaa",
        r"(a|ab)(a|ab)(a|ab)c",
        r"\d+\d+\d+x",
    ],
)
def test_a_pattern_that_may_take_for_ever_is_refused(text):
    with pytest.raises(PatternError, match="for ever"):
        read_pattern(text)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "1 to 1000"),
        ("(", "without its"),
        (")", "without its"),
        ("[a", "ends too early"),
        ("a**", "repeats a repetition"),
        ("*", "nothing to repeat"),
        (r"\1", "not known here"),
        (r"(?P<a>x)\g", "not known here"),
        ("(?=a)", "groups are"),
        ("(?i)a", "groups are"),
        ("(?P<a>x)(?P<a>y)", "two groups"),
        ("[z-a]", "backwards"),
        ("a{3,2}", "regular expression"),
        ("\\", "ends too early"),
        (r"\xg0", "hexadecimal"),
        ("(" * 30 + "a" + ")" * 30, "beyond all measure"),
        ("a" * 1001, "1 to 1000"),
        ("^*", "no character"),
    ],
)
def test_what_is_beyond_the_known_is_refused_in_words(text, word):
    with pytest.raises(PatternError, match=word):
        read_pattern(text)


@settings(max_examples=400, deadline=None)
@given(st.text(alphabet=r"ab.*+?()[]{}|\^$-12,<>P:dwsx", max_size=16))
def test_any_text_is_refused_or_is_what_the_library_takes_it_for(text):
    try:
        pattern = read_pattern(text)
    except PatternError:
        return

    assert pattern.pattern == re.compile(text, re.ASCII).pattern


pieces = st.sampled_from(
    [r"\d+", r"\S+", ".*", "a*", "[ab]+", " ", "a", "b", "(?:ab)?", "(a|b)", "x?", r"\w*", ","]
)


@settings(max_examples=150, deadline=None)
@given(st.lists(pieces, min_size=1, max_size=8), st.text(alphabet="ab1 ,x", min_size=1, max_size=4))
def test_what_is_taken_is_done_in_time_with_the_longest_line(parts, unit):
    try:
        pattern = read_pattern("".join(parts))
    except PatternError:
        return
    line = (unit * LONGEST)[: LONGEST - 1] + "!"
    begun = time.process_time()
    pattern.fullmatch(line)

    assert time.process_time() - begun < 0.5


@pytest.mark.parametrize(
    ("text", "last"),
    [("pump> ", " "), (r"\w+\$ ", " "), (r"(?:a|b)>", ">"), ("a*", ""), (r"x\d", ""), ("a|b", "")],
)
def test_the_character_that_a_prompt_ends_with(text, last):
    assert last_character(text) == last
