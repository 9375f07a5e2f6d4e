"""What a recording tells again, and what it cannot tell of a node."""

from dataclasses import replace
from pathlib import Path

import pytest

from hil.core.event import ConsoleLine, NodeNoted
from hil.core.instant import Instant
from hil.core.observation import NodeNote, NodeTrouble, Samples
from hil.core.signal import Validity
from hil.files.read import read_plan, read_rack
from hil.runner.again.playback import Playback
from hil.runner.again.recorded import Evidence

ROOT = Path(__file__).parents[2]
DOSER = read_rack(ROOT / "fixtures" / "doser.yaml")
MADE_AGAIN = ("UNREACHABLE", "REFUSED", "UNANSWERED", "SUBSCRIPTION")

STATUS = "status boots=2 rate=600 valve=open tank=800 flow=600 state=dosing fault=none power=run"


def noted(node, trouble):
    return NodeNoted(at=Instant(9), node=node, trouble=trouble, text="because")


@pytest.mark.parametrize("trouble", list(NodeTrouble))
def test_notes_that_no_datagram_tells_are_told_again_and_no_others(trouble):
    playback = Playback(DOSER)
    playback.receive(noted("doser", trouble.value), Instant(9))
    notes = [each for each in playback.take_observations() if isinstance(each, NodeNote)]

    assert [note.trouble for note in notes] == ([trouble] if trouble.name in MADE_AGAIN else [])


def test_what_stood_on_a_line_that_failed_is_no_longer_known():
    playback = Playback(DOSER)
    said = [
        ("boot 2: doser 2.3.0 ready", "in"),
        ("id", "out"),
        ("id serial=DS-0201 firmware=2.3.0", "in"),
        ("status", "out"),
        (STATUS, "in"),
    ]
    for number, (text, way) in enumerate(said, start=1):
        line = ConsoleLine(at=Instant(number), node="doser", text=text, way=way)
        playback.receive(line, line.at)
    before = validities(playback)
    playback.receive(noted("doser", NodeTrouble.UNREACHABLE.value), Instant(9))

    assert before == {Validity.VALID}
    assert validities(playback) == {Validity.STALE}


def validities(playback):
    told = [each for each in playback.take_observations() if isinstance(each, Samples)]
    return {sample.validity for each in told for sample in each.samples}


def test_a_node_that_speaks_in_datagrams_can_be_judged_without_its_console():
    glasshouse = read_rack(ROOT / "fixtures" / "glasshouse.yaml")
    console = DOSER.nodes[0].console
    nodes = tuple(replace(node, console=console) for node in glasshouse.nodes)
    case = read_plan(ROOT / "testplans" / "01-first-steps.yaml", glasshouse).cases[0]

    assert Evidence(replace(glasshouse, nodes=nodes), []).cannot(case) == ""
