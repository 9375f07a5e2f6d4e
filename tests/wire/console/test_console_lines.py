"""Octets to lines: the same however they are cut, and rubbish never hides what follows it."""

import re
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hil.core.instant import Instant
from hil.wire.console.lines import PROMPT_OCTETS, Kind, Lines, clean_text
from hil.wire.console.pattern import read_pattern

PROMPT = re.compile("pump> ")


def cut(chunks, limit=80, prompt=PROMPT):
    lines = Lines(limit, prompt)
    return [
        (line.kind, line.octets)
        for at, chunk in enumerate(chunks)
        for line in lines.feed(chunk, Instant(at))
    ]


@pytest.mark.parametrize(
    ("octets", "texts"),
    [
        (b"a\nb\n", [b"a", b"b"]),
        (b"a\r\nb\r\n", [b"a", b"b"]),
        (b"a\rb\r", [b"a", b"b"]),
        (b"a\r\r\n\n\nb\r\n", [b"a", b"b"]),
        (b"a\n\rb\n", [b"a", b"b"]),
        (b"half", []),
        (b"\r\n", []),
        (b"10 %\r20 %\r30 %\r\n", [b"10 %", b"20 %", b"30 %"]),
    ],
)
def test_a_line_ends_with_cr_lf_or_both_and_empty_ones_are_nothing(octets, texts):
    assert [octets for _, octets in cut([octets])] == texts


def test_a_cr_lf_in_two_pieces_is_one_line_end():
    assert cut([b"a\r", b"\nb\r", b"", b"\n"]) == [(Kind.WHOLE, b"a"), (Kind.WHOLE, b"b")]


def test_a_line_that_has_no_end_yet_is_no_line():
    lines = Lines(80)

    assert lines.feed(b"." * 10, Instant(0)) == []
    assert lines.rest == b"." * 10


def test_a_prompt_has_no_line_end_and_what_follows_it_is_a_line_of_its_own():
    told = cut([b"pump> ok\r\npump> pump> err\n"])

    kinds = [(kind.value, octets) for kind, octets in told]
    assert kinds == [
        ("prompt", b"pump> "),
        ("whole", b"ok"),
        ("prompt", b"pump> "),
        ("prompt", b"pump> "),
        ("whole", b"err"),
    ]


def test_a_prompt_in_the_middle_of_a_line_is_none():
    assert cut([b"the pump> says\n"]) == [(Kind.WHOLE, b"the pump> says")]


def test_a_prompt_with_the_colours_of_a_terminal_is_one():
    assert cut([b"\x1b[32mpump>\x1b[0m "]) == [(Kind.PROMPT, b"\x1b[32mpump>\x1b[0m ")]


def test_a_line_that_is_too_long_comes_in_pieces_and_nothing_of_it_is_lost():
    octets = bytes(range(65, 91)) * 10
    told = cut([octets + b"\nshort\n"], limit=100)

    assert [kind for kind, _ in told] == [Kind.CUT, Kind.CUT, Kind.CUT, Kind.WHOLE]
    assert b"".join(piece for kind, piece in told if kind is Kind.CUT) == octets
    assert told[-1][1] == b"short"


def test_the_times_of_a_line_are_those_of_its_first_octet_and_of_its_end():
    lines = Lines(80)
    lines.feed(b"one\ntw", Instant(5))
    [line] = lines.feed(b"o\n", Instant(9))

    assert (line.begun, line.at) == (5, 9)


# Printrun #276, circuitpython PR 9105: boot code at another speed stops a strict decoder.
def test_a_line_is_matched_from_its_last_clean_start():
    octets = bytes.fromhex("FF 99 95 ED 62 6F 6F 74 3A 20 6F 6B 0D 0A")
    [(_, line)] = cut([octets])

    assert clean_text(line) == "boot: ok"
    assert line == octets[:-2]


def test_a_letter_in_two_pieces_is_one_letter():
    [(_, line)] = cut([b"\xc3", b"\xa9\n"])

    assert line.decode() == "é"
    assert clean_text(line) == "é"


@pytest.mark.parametrize(
    ("octets", "clean"),
    [
        (b"\x1b[31mERR\x1b[0m", "ERR"),
        (b"\x00\x00ok", "ok"),
        (b"ok\xff\x00", "ok"),
        (b"o\x00k", "k"),
        (b"\xff\xfe", ""),
        (b"a\tb", "a\tb"),
        ("20 °C".encode(), "20 °C"),
    ],
)
def test_what_patterns_see_of_a_line(octets, clean):
    assert clean_text(octets) == clean


streams = st.lists(
    st.sampled_from(
        [b"\r", b"\n", b"pump> ", b"pump", b"> ", b"ok 1", b"\xff\x00", b"\xc3", b"\xa9"]
    )
    | st.binary(max_size=40)
    | st.just(b"x" * 150),
    max_size=12,
).map(b"".join)


@settings(max_examples=150, deadline=None)
@given(stream=streams, data=st.data(), limit=st.integers(80, 120))
def test_any_stream_gives_the_same_lines_in_any_pieces(stream, data, limit):
    places = data.draw(st.lists(st.integers(0, len(stream)), max_size=8).map(sorted))
    ends = [0, *places, len(stream)]
    pieces = [stream[a:b] for a, b in pairwise(ends)]

    assert cut(pieces, limit) == cut([stream], limit) == cut([bytes([o]) for o in stream], limit)


@settings(max_examples=100, deadline=None)
@given(stream=streams)
def test_no_octet_of_any_stream_is_lost(stream):
    lines = Lines(80, PROMPT)
    told = b"".join(line.octets for line in lines.feed(stream, Instant(0))) + lines.rest

    assert told == stream.replace(b"\r", b"").replace(b"\n", b"")


@settings(max_examples=100, deadline=None)
@given(octets=st.binary(max_size=60))
def test_no_octets_whatever_raise_anything(octets):
    for line in Lines(16).feed(octets + b"\n", Instant(0)):
        assert clean_text(line.octets).isprintable() or "\t" in line.text or line.text
        assert isinstance(line.text, str)


def test_a_prompt_longer_than_is_looked_at_is_none():
    prompt = read_pattern("a" * (PROMPT_OCTETS + 1) + "> ")

    assert cut([b"a" * (PROMPT_OCTETS + 1) + b"> "], 100, prompt) == []
