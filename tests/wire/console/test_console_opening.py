"""Opening a console: boots that are the tool's own doing, and who is at the other end."""

import re
from decimal import Decimal

import pytest
from wire.console.consoles import BOOT, IDENTIFY, MS, SECOND, Talk, listened, pump

from hil.core.instant import Duration
from hil.core.observation import CommandSent, Confirmed, NodeNote, NodeTrouble, Samples, Unconfirmed
from hil.core.signal import Validity
from hil.wire.console.description import Question
from hil.wire.console.pattern import read_pattern


# pyserial #124, #156; grbl #160: a control line moves at opening and the board restarts.
def test_where_opening_resets_the_first_command_waits_for_the_boot_line():
    talk = Talk(pump(boot=BOOT, opening_resets=True)).drive(10, "pump.rate", 1)

    assert talk.at(799).said == []
    assert talk.hear(800, "boot: ok\r\n").said == ["rate 10\n"]
    assert talk.notes == [("console opened", "rebooted, because the console was opened")]
    assert [sent.at / MS for sent in talk.of(CommandSent)] == [800]


def test_where_nothing_is_declared_a_boot_at_opening_is_a_warning():
    talk = Talk(pump(boot=BOOT)).hear(800, "boot: ok\r\n")

    assert talk.notes == [
        (
            "console opened",
            "rebooted when the console was opened; where that is so, say `opening-resets: yes`",
        )
    ]


def test_any_later_boot_is_the_nodes_own():
    talk = Talk(pump(boot=BOOT)).hear(4_000, "fine\n").hear(5_000, "boot: ok\r\n")
    [note] = talk.of(NodeNote)

    assert (note.trouble, note.since, note.at) == (NodeTrouble.REBOOT, 4_000 * MS, 5_000 * MS)


def test_the_second_boot_after_an_opening_is_the_nodes_own():
    talk = (
        Talk(pump(boot=BOOT, opening_resets=True)).hear(300, "boot: ok\n").hear(900, "boot: ok\n")
    )

    assert [trouble for trouble, _ in talk.notes] == ["console opened", "reboot"]


def test_a_boot_line_that_does_not_come_is_not_waited_for_for_ever():
    node = pump(boot=BOOT, opening_resets=True, boot_within=Duration(SECOND))
    talk = Talk(node).drive(10, "pump.rate", 1).at(1_001)

    assert talk.said == ["rate 10\n"]
    assert talk.notes == [
        ("console opened", "no boot line within 1 s of opening the console; going on without")
    ]


def test_rubbish_before_the_boot_line_does_not_hide_it():
    talk = Talk(pump(boot=BOOT, opening_resets=True)).drive(10, "pump.rate", 1)
    talk.hear(700, bytes.fromhex("FF 99 95 ED 62 6F 6F 74 3A 20 6F 6B 0D 0A"))

    assert talk.said == ["rate 10\n"]


def test_a_node_that_reboots_forgets_what_it_was_asked():
    talk = Talk(pump(boot=BOOT)).hear(3_500, "x\n").drive(4_000, "pump.rate", 1)
    talk.hear(4_010, "boot: ok\n")

    assert talk.lost == [(4_010, "the node rebooted before it answered")]


def test_a_boot_count_in_a_reading_tells_a_boot_that_nobody_saw():
    counted = (read_pattern(r"boots=(?P<boots>\d+) rate=(?P<rate>\S+)"),)
    talk = Talk(pump(readings=counted)).hear(1, "x\nboots=4 rate=1\n").hear(9, "boots=5 rate=1\n")

    assert talk.notes == [("reboot", "boot count 5, was 4")]


def test_after_a_boot_values_warm_up():
    talk = Talk(pump(boot=BOOT)).hear(10, "boot: ok\nrate=1 valve=open\n")
    talk.hear(200, "rate=1 valve=open\n")
    valves = [one.samples[1].validity for one in talk.of(Samples) if one.samples]

    assert valves == [Validity.STALE, Validity.VALID]


def test_a_node_whose_datagrams_count_its_boots_has_them_told_once():
    talk = Talk(listened(boot=BOOT)).hear(4_000, "boot: ok\n").hear(5_000, "boot: ok\n")

    assert talk.notes == []


# --- who is there -------------------------------------------------------------------------------

TWO = {"servo-1": "GH-0101", "fan-2": "GH-0102"}


def two():
    """Two nodes, each with a console of its own."""
    return [
        pump(
            name=name,
            serial=serial,
            firmware=">= 1.4",
            device=f"/dev/serial/by-path/{name}",
            identify=IDENTIFY,
        )
        for name, serial in TWO.items()
    ]


def test_nothing_is_said_before_the_node_has_said_who_it_is():
    talk = Talk(*two()).drive(0, "servo-1.rate", 1)
    assert talk.said[:2] == ["id\n", "id\n"]

    talk.hear(3, "id serial=GH-0101 firmware=1.10\n")

    assert talk.said == ["id\n", "id\n", "rate 10\n"]


# venus #1680, systemd #30574: after a reset the port numbers swap and another board answers.
def test_the_console_of_another_node_is_never_commanded():
    talk = Talk(*two()).drive(0, "servo-1.rate", 1).hear(3, "id serial=GH-0102 firmware=1.10\n")
    talk.drive(10, "servo-1.rate", 2, token=2).at(500)
    identity = [text for trouble, text in talk.notes if trouble == "identity"]

    assert identity == ["console of servo-1 answers as fan-2: serial is GH-0102, wanted GH-0101"]
    assert "rate" not in "".join(talk.said)
    assert talk.lost == [(3, identity[0]), (10, identity[0])]


def test_a_reading_from_nobody_knows_whom_is_kept_back_until_it_is_known():
    talk = Talk(*two()).hear(1, "x\nrate=1 valve=open\n")
    assert talk.values == []

    talk.hear(2, "id serial=GH-0101 firmware=1.10\n")

    assert [name for name, _ in talk.values] == ["rate", "valve"]


def test_what_an_impostor_reads_is_never_handed_over():
    talk = Talk(*two()).hear(1, "x\nrate=1 valve=open\nid serial=GH-0102 firmware=1.10\n")
    talk.hear(5, "rate=1 valve=open\n")

    assert talk.values == []


@pytest.mark.parametrize(
    ("answer", "problem"),
    [
        ("id serial=GH-0777 firmware=1.10", "is another node's: serial is GH-0777, wanted GH-0101"),
        ("id serial=GH-0101 firmware=1.3", "is another node's: firmware is 1.3, wanted >= 1.4"),
    ],
)
def test_a_stranger_and_an_old_firmware_are_told(answer, problem):
    talk = Talk(*two()).hear(3, f"{answer}\n")

    assert ("identity", f"console of servo-1 {problem}") in talk.notes


def test_an_answer_that_does_not_tell_what_must_be_known_is_a_conflict():
    only = Question(send="id", answer=read_pattern(r"fw (?P<firmware>\S+)"))
    talk = Talk(pump(serial="X-1", identify=only)).hear(1, "fw 2\n")

    assert talk.notes == [
        ("identity", "console of pump is another node's: it does not tell its serial")
    ]


def test_a_node_that_does_not_say_who_it_is_is_asked_again_and_not_waited_for_for_ever():
    talk = Talk(pump(serial="X-1", identify=IDENTIFY)).drive(0, "pump.rate", 1).at(3_000)

    assert talk.said.count("id\n") >= 5
    assert "rate 10\n" not in talk.said
    [(_, why)] = talk.lost
    assert why.startswith('the console of pump does not say who it is: asked "id", no answer')


def test_after_a_boot_it_is_asked_again():
    node = pump(serial="X-1", identify=IDENTIFY, boot=BOOT)
    talk = Talk(node).hear(1, "id serial=X-1 firmware=1\n").hear(5_000, "boot: ok\n")

    assert talk.said == ["id\n", "id\n"]


TELLING = re.compile(r"boot (?P<boots>\d+): (?P<serial>\S+) (?P<firmware>\S+)")
"""A boot line that tells who the node is."""


def test_a_boot_line_of_another_node_is_a_conflict_before_anything_is_said_there():
    node = pump(serial="X-1", boot=TELLING, opening_resets=True)
    talk = Talk(node).drive(0, "pump.rate", 1).hear(300, "boot 4: X-7 1.2\n")
    talk.hear(310, "rate=1 valve=open\n").drive(320, "pump.rate", 2, token=2)
    refusal = "console of pump is another node's: serial is X-7, wanted X-1"

    assert ("identity", refusal) in talk.notes
    assert talk.said == [] == talk.values
    assert talk.lost == [(300, refusal), (320, refusal)]


def test_what_waits_for_its_turn_is_not_said_to_a_node_that_boots_as_another():
    talk = Talk(pump(serial="X-1", boot=TELLING)).drive(4_000, "pump.rate", 1)
    talk.drive(4_001, "pump.valve", "open", token=2).hear(4_010, "boot 5: X-7 1.2\n").at(5_000)

    assert talk.said == ["rate 10\n"]
    assert [why for _, why in talk.lost] == [
        "the node rebooted before it answered",
        "console of pump is another node's: serial is X-7, wanted X-1",
    ]


def test_a_boot_line_of_the_right_node_ends_the_conflict():
    node = pump(serial="X-1", boot=TELLING, opening_resets=True)
    talk = Talk(node).hear(300, "boot 4: X-7 1.2\n").hear(400, "boot 9: X-1 1.2\n")
    talk.drive(410, "pump.rate", 1).hear(415, "ok\nrate=1 valve=open\n")

    assert talk.said == ["rate 10\n"]
    assert [value for _, value in talk.values] == [Decimal("0.1"), "open"]


def test_where_the_tool_asks_who_it_is_a_boot_line_alone_confirms_nothing():
    node = pump(serial="X-1", boot=TELLING, identify=IDENTIFY, opening_resets=True)
    talk = Talk(node).drive(0, "pump.rate", 1).hear(300, "boot 4: X-1 1.2\n")
    assert talk.said == ["id\n"]

    talk.hear(301, "id serial=X-1 firmware=1.2\n")

    assert talk.said == ["id\n", "rate 10\n"]


def test_an_inquiry_is_answered_with_what_the_boot_line_told():
    talk = Talk(pump(serial="X-1", boot=TELLING)).hear(5_000, "boot 4: X-1 1.2\n")
    talk.links._conversations["pump"].inquire(talk.at(6_000) and 6_000 * MS)
    talk.at(6_000)
    [told] = talk.of(Confirmed)

    assert told.facts == (("serial", "X-1"), ("firmware", "1.2"), ("boots", "4"))
    assert told.asked == 0


def test_an_inquiry_is_answered_with_what_the_node_tells():
    talk = Talk(pump(serial="X-1", identify=IDENTIFY)).hear(1, "id serial=X-1 firmware=1\n")
    talk.links._conversations["pump"].inquire(talk.at(100) and 100 * MS)
    talk.at(100).hear(104, "id serial=X-1 firmware=1\n")
    [told] = talk.of(Confirmed)

    assert told.facts == (("serial", "X-1"), ("firmware", "1"))
    assert (told.at, told.took, told.asked) == (104 * MS, 4 * MS, 1)


def test_an_inquiry_that_nobody_answers_ends():
    talk = Talk(pump(serial="X-1", identify=IDENTIFY)).hear(1, "id serial=X-1 firmware=1\n")
    talk.links._conversations["pump"].inquire(100 * MS)
    talk.at(100).at(5_000)
    [told] = talk.of(Unconfirmed)

    assert told.detail == "no answer on /dev/serial/by-id/pump within 3 s"
    assert told.at == 3_100 * MS


def test_a_late_answer_to_who_it_is_counts():
    talk = Talk(pump(serial="X-1", identify=IDENTIFY)).drive(0, "pump.rate", 1)
    talk.hear(60, "id serial=X-1 firmware=1\n")

    assert talk.said == ["id\n", "rate 10\n"]
