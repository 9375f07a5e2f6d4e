"""Characters: which XML 1.0 allows, and what is shown in place of the others."""

import doctest

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

import hil.report.junit
import hil.report.story
import hil.report.visible
from hil.report.visible import shorten, visible_line, visible_text

# W3C XML 1.0 (5th edition), production 2, Char:
# #x9 | #xA | #xD | [#x20-#xD7FF] | [#xE000-#xFFFD] | [#x10000-#x10FFFF]
FORBIDDEN = [0x0, 0x1, 0x8, 0xB, 0xC, 0xE, 0x1B, 0x1F, 0xD800, 0xDFFF, 0xFFFE, 0xFFFF]
KEPT = [0x9, 0xA, 0x20, 0xA0, 0xD7FF, 0xE000, 0xFFFD, 0x10000, 0x1F600]


@pytest.mark.parametrize("code", FORBIDDEN, ids=hex)
def test_a_forbidden_character_is_shown_by_its_number(code):
    shown = visible_text(f"a{chr(code)}b")

    assert shown in (f"a\\x{code:02x}b", f"a\\u{code:04x}b")


@pytest.mark.parametrize("code", KEPT, ids=hex)
def test_an_allowed_character_stays(code):
    assert f"a{chr(code)}b" == visible_text(f"a{chr(code)}b")


@given(st.text(st.characters(exclude_categories=())))
def test_any_text_made_visible_survives_as_text_and_as_attribute(text):
    element = etree.Element("e", attribute=visible_line(text))
    element.text = visible_text(text)
    back = etree.fromstring(etree.tostring(element))

    assert (visible_line(text), visible_text(text)) == (back.get("attribute"), back.text or "")


@given(st.text(max_size=300), st.integers(0, 200))
def test_a_shortened_text_keeps_its_ends_and_says_what_is_left_out(text, limit):
    short = shorten(text, limit)

    if len(text) <= limit:
        assert text == short
    else:
        kept = (
            len(text) - int(short.split("… ")[1].split(" ")[0]) if "… " not in text else limit // 2
        )
        assert limit // 2 == kept


@pytest.mark.parametrize("module", [hil.report.visible, hil.report.story, hil.report.junit])
def test_the_examples_in_the_text_are_true(module):
    failed, tried = doctest.testmod(module)

    assert tried
    assert not failed


def test_no_character_that_counts_as_printable_is_one_that_has_to_be_shown():
    hidden = hil.report.visible._IN_LINE  # the short way out in visible_line rests on this

    assert not [
        code for code in range(0x110000) if chr(code).isprintable() and hidden.search(chr(code))
    ]
