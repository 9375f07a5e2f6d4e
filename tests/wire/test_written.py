"""Octets as people write them down."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hil.core.event import Datagram
from hil.core.event.line import render
from hil.core.instant import Instant
from hil.wire.written import UnreadableError, read_written


@pytest.mark.parametrize(
    "text",
    [
        "31 01 02 bc",
        "310102BC",
        "31:01:02:bc",
        "31-01-02-BC",
        "0x31, 0x01, 0x02, 0xbc",
        "0x310102bc",
        "0x31 0x1 0x2 0xbc",
        r"\x31\x01\x02\xbc",
        "  31_01|02;bc  ",
    ],
)
def test_every_usual_spelling_is_read(text):
    assert bytes([0x31, 0x01, 0x02, 0xBC]) == read_written(text).octets


def test_a_line_of_a_journal_brings_its_node_and_way():
    line = render(Datagram(at=Instant(5), way="in", node="feedline", hex="3101"))

    assert read_written(line) == (b"\x31\x01", "feedline", "in")


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("31 0", "half an octet is missing"),
        ("31 gg", "'g' is no hex digit"),
        ("pressure", "'p' is no hex digit"),
        ('{"event": "case-started"}', "has no octets"),
        ('{"event"', "begins like a line of a journal"),
        ("[" * 5, "'[' is no hex digit"),
        ("{" * 100_000, "begins like a line of a journal"),
        ("00" * 70_000, "more than a datagram has"),
    ],
)
def test_what_is_no_octets_is_said_in_a_sentence(text, what):
    with pytest.raises(UnreadableError) as caught:
        read_written(text)

    assert what in str(caught.value)


@given(st.binary(max_size=40), st.sampled_from(["", " ", ":", ", ", "-"]))
def test_what_is_written_is_read_again(octets, gap):
    text = gap.join(f"{octet:02x}" for octet in octets)

    assert octets == read_written(text).octets


@given(st.text(max_size=60) | st.from_type(dict).map(lambda it: json.dumps(str(it))))
def test_any_text_is_octets_or_a_sentence(text):
    try:
        got = read_written(text).octets
    except UnreadableError as error:
        got = str(error)

    assert isinstance(got, bytes) or got
