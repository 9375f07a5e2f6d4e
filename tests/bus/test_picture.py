"""The picture and the table of one cycle."""

from xml.etree import ElementTree

import pytest
from bus.segments import ring, sizes

from hil.bus.budget import budget
from hil.bus.picture import draw
from hil.bus.segment import Participant, Segment
from hil.bus.timeline import full_cycle, lay_out, table

SVG = "{http://www.w3.org/2000/svg}"


def test_rows_of_a_mixed_cycle():
    """Two used turns of 680 bt and 1360 bt, one unused, and five that nobody owns."""
    segment = ring(3, node_count=8, burst_count=1)
    rows = lay_out(segment, {"n0": (64,), "n1": (64, 64)})

    assert table(segment, rows) == [
        ("start", "0.0 µs", "2.0 µs", "beacon"),
        ("0 n0", "2.0 µs", "68.0 µs", "64 octets"),
        ("1 n1", "70.0 µs", "136.0 µs", "2 × 64 octets"),
        ("2 n2", "206.0 µs", "3.2 µs", "unused"),
        ("3 to 7 nobody", "209.2 µs", "16.0 µs", "5 unused turns"),
    ]


@pytest.mark.parametrize("nodes", [1, 9, 255])
def test_rows_add_up_to_the_full_cycle(nodes):
    segment = ring(nodes, traffic=sizes([18, 900]))

    assert sum(row.length for row in full_cycle(segment)) == budget(segment).full


@pytest.mark.parametrize("nodes", [1, 9, 255])
def test_the_picture_is_svg_without_styles(nodes):
    """What `style-src 'self'` forbids: style attributes and style elements."""
    picture = draw(ring(nodes), full_cycle(ring(nodes)), "one <cycle> & more")
    root = ElementTree.fromstring(picture)

    assert root.tag == f"{SVG}svg"
    assert root.find(f"{SVG}title").text == "one <cycle> & more"
    assert not any("style" in each.attrib or each.tag == f"{SVG}style" for each in root.iter())
    assert len(root.find(f"{SVG}desc").text.split("; ")) == nodes + 1


def test_every_turn_is_named_in_words():
    segment = ring(9, traffic=sizes([18] * 9))
    root = ElementTree.fromstring(draw(segment, full_cycle(segment), "full"))
    words = [each.text for each in root.iter(f"{SVG}text")]

    assert [f"{number} n{number}" in words for number in range(9)] == [True] * 9
    assert words.count("64 octets") == 9
    assert {"beacon", "frame", "unused turn", "gap before a frame", "full: 614.0 µs"} <= set(words)


def test_nothing_is_drawn_outside_the_picture():
    name = "a name that is much longer than the room beside the bars"
    segment = Segment(participants=(Participant(name=name, plca_id=0),), node_count=255)
    root = ElementTree.fromstring(draw(segment, full_cycle(segment), "long"))
    width = float(root.get("width"))

    for bar in root.findall(f"{SVG}rect"):
        assert 0 <= float(bar.get("x", 0)) <= width
        assert float(bar.get("x", 0)) + float(bar.get("width")) <= width
    shown = [each.text for each in root.iter(f"{SVG}text")]
    assert all(len(each) < 30 for each in shown if each)
