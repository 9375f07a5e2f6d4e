"""Lines of a console by the patterns of its bench file, as people look at them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from wire.console.consoles import BOOT, IDENTIFY, pump
from wire.racks import FEEDLINE

from hil.wire.console.description import Question
from hil.wire.console.pattern import read_pattern
from hil.wire.console.recognition import recognise

PUMP = pump(
    boot=BOOT, identify=IDENTIFY, read=Question(send="status"), prompt=read_pattern("pump> ")
)


@pytest.mark.parametrize(
    ("octets", "what"),
    [
        (b"boot: ok 7", "the boot line"),
        (b"\xff\x99boot: ok", "the boot line"),  # from its last clean start
        (b"id serial=P-1 firmware=1.2", "the answer to who it is"),
        (b"rate=125 valve=open", "a reading"),
        (b"ok 125", "the answer of a command that was taken"),
        (b"err too much", "the answer of a command that was refused"),
        (b"id", "a question of the tool"),
        (b"status", "a question of the tool"),
        (b"rate 125", "the tool's command for rate"),
        (b"valve open", "the tool's command for valve"),
        (b"rate", ""),
        (b"hello", ""),
        (b"rate=125 valve=open" + b"." * 600, ""),  # too long: nothing reads it
    ],
)
def test_a_line_is_what_its_pattern_says(octets, what):
    assert recognise(PUMP, octets)[0].what == what


def test_words_of_a_reading_come_with_what_they_mean():
    (line,) = recognise(PUMP, b"rate=9999 valve=0\r\n")

    assert line.parts == (
        ("rate", "9999", "no measurement: sentinel 9999"),
        ("valve", "0", "closed"),
    )


def test_several_lines_and_a_prompt_come_apart():
    found = recognise(PUMP, b"pump> ok 125\r\nrate=125 valve=open\r\n")

    assert [line.what for line in found] == [
        "the prompt",
        "the answer of a command that was taken",
        "a reading",
    ]
    assert found[1].parts == (("value", "125", ""),)


def test_a_node_without_a_console_says_no_lines():
    assert recognise(FEEDLINE, b"ok") == ()


@given(st.binary(max_size=80))
def test_no_octets_whatever_raise_anything(octets):
    assert b"".join(line.octets for line in recognise(PUMP, octets)) == octets.replace(
        b"\r", b""
    ).replace(b"\n", b"")
