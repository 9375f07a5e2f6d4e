"""The picture of an alarm spec: well-formed, accessible, and with marks at the right places."""

import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from report.alarm_paper import RESET, SPEC, TRIP

from hil.report.alarm_picture import draw
from hil.report.alarm_scale import Scale, around, round_step

SVG = "{http://www.w3.org/2000/svg}"


def drawn(spec=SPEC, rows=(TRIP, RESET)):
    return ET.fromstring(draw(spec, rows))


def words(picture):
    return [text.text for text in picture.iter(f"{SVG}text")]


def band(picture, colour):
    (found,) = [box for box in picture.iter(f"{SVG}rect") if box.get("fill") == colour]
    return float(found.get("x")), float(found.get("x")) + float(found.get("width"))


def test_it_has_a_title_and_says_everything_in_words():
    picture = drawn()
    title, told = picture.find(f"{SVG}title"), picture.find(f"{SVG}desc")

    assert picture.get("aria-labelledby").split() == [title.get("id"), told.get("id")]
    assert title.text == "Alarm spec Feed pressure"
    assert "high is amber: at or above 3.60 bar, below 4.50 bar" in told.text
    assert "high trip, rising: specified 3.60, measured 3.6550 ± 0.0058" in told.text
    assert "1 of 2 points pass" in told.text


def test_nothing_in_it_is_a_style_or_a_script_or_from_elsewhere():
    for element in drawn().iter():
        assert element.tag not in (f"{SVG}style", f"{SVG}script", f"{SVG}image")
        assert "style" not in element.attrib
        assert "class" not in element.attrib
        assert not [name for name in element.attrib if name.endswith("href")]


def test_bands_touch_in_their_order_and_share_one_scale():
    picture = drawn()
    green, amber, red = (band(picture, colour) for colour in ("#00ff00", "#ffbf00", "#ff0000"))

    assert (green[1], amber[1]) == pytest.approx((amber[0], red[0]), abs=0.02)
    dead_bands = [
        (float(box.get("x")), float(box.get("width")))
        for box in picture.iter(f"{SVG}rect")
        if box.get("fill") == "#dddddd" and box.get("height") == "14.00"
    ]
    one_bar = (amber[1] - amber[0]) / 0.9  # amber is 3.60 to 4.50 bar
    assert len(dead_bands) == 2
    assert dead_bands[0] == pytest.approx((amber[0] - 0.15 * one_bar, 0.15 * one_bar), abs=0.02)


def test_it_reads_without_colours():
    picture = drawn()
    said = words(picture)
    fills = [box.get("fill") for box in picture.iter(f"{SVG}rect")]
    patterns = {fill for fill in fills if fill.startswith("url(#")}

    assert {"normal", "green", "high", "amber", "over", "red", "FAIL", "PASS"} <= set(said)
    assert len(patterns) == 2  # one for each alarm band
    known = {f"url(#{one.get('id')})" for one in picture.iter(f"{SVG}pattern")}
    assert patterns <= known


def test_what_was_not_measured_is_said():
    told = replace(TRIP, low="", high="", mean="", difference="", text="it was not searched")
    said = words(drawn(rows=(replace(told, outcome="not run"),)))

    assert {"NOT RUN", "it was not searched"} <= set(said)


def test_a_band_too_narrow_for_its_name_has_it_outside():
    narrow = (SPEC.bands[0], ("high", "amber", "#ffbf00", "3.60", "3.61", ""), SPEC.bands[2])

    assert "high, amber" in words(drawn(replace(SPEC, bands=narrow)))


def test_odd_texts_and_numbers_do_no_harm():
    spec = replace(
        SPEC, spec="<b>&\x1b", unit="\x00", low="-inf", high="nan", tolerance="", points=()
    )
    odd = replace(TRIP, alarm="]]>", wanted="nan", low="1e400", high="x", mean="NaN", way="")

    assert "<b>&\\x1b" in words(drawn(spec, (odd,)))
    drawn(spec, ())


@pytest.mark.parametrize(("span", "step"), [(1, 0.1), (9.99, 1), (23, 5), (0.0034, 0.0005)])
def test_steps_are_round(span, step):
    assert round_step(span) == pytest.approx(step)


def test_a_scale_shows_the_points_with_room_and_never_leaves_the_range():
    assert around([2, 4], 0, 10, 100, 500) == Scale(1.4, 4.6, 100, 500)
    assert around([0.1, 9.9], 0, 10, 100, 500) == Scale(0, 10, 100, 500)
    assert around([5], 0, 10, 0, 1) == Scale(4, 6, 0, 1)
    assert around([], 0, 0, 0, 1).high > 0


@pytest.mark.parametrize("points", [("1", "9.9"), ("0.1", "0.2"), ("9.8", "9.9"), ("5", "5")])
def test_words_of_a_lane_stay_on_the_page(points):
    trip, reset = points
    told = (("high", "trip", "falling", trip), ("high", "reset", "rising", reset))
    picture = drawn(replace(SPEC, points=told), ())
    for text in picture.iter(f"{SVG}text"):
        size, left = float(text.get("font-size")), float(text.get("x"))
        width = len(text.text) * size * 0.58
        begin = left - width * {"start": 0, "middle": 0.5, "end": 1}[text.get("text-anchor")]

        assert begin >= 0, text.text
        assert begin + width <= 960, text.text
