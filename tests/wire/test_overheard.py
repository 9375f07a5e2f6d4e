"""What is said between a tool and its nodes, heard by a third."""

from dataclasses import replace
from decimal import Decimal

import pytest
from wire.racks import FEEDLINE, LOUVRES, links, rack

from hil.core.instant import MILLISECOND, Instant
from hil.core.observation import NodeNote, NodeTrouble, Samples
from hil.wire.layout import Codec
from hil.wire.overheard import Overheard
from hil.wire.rack import Address
from hil.wire.said import Driven, Replied

REQUEST, ANSWER, STATE = (Codec(layout, LOUVRES) for layout in LOUVRES.layouts)


def ms(count):
    return Instant(count * MILLISECOND)


def heard(*nodes):
    return Overheard(rack(*nodes) if nodes else rack())


def test_a_request_is_what_it_drives():
    octets = REQUEST.encode(request=65, operation=2, value=Decimal(90))

    assert heard().sent("louvres", octets, ms(1)) == Driven(
        signal="louvres.angle", value=Decimal("90.0"), number=65, operation=2
    )


@pytest.mark.parametrize(
    ("status", "accepted", "detail"), [(0, True, ""), (3, False, "out of range (status 3)")]
)
def test_an_answer_is_what_became_of_a_request(status, accepted, detail):
    octets = ANSWER.encode(request=65, operation=2, status=status, value=Decimal(90))

    assert heard().came("louvres", None, octets, ms(1)) == Replied(
        number=65, operation=2, accepted=accepted, detail=detail
    )


def test_a_reading_that_was_asked_for_was_so_since_the_question():
    third = heard()
    octets = REQUEST.encode(request=66, operation=LOUVRES.read, value=0)
    third.sent("louvres", octets, ms(3))
    third.came("louvres", None, _state(1), ms(9))
    third.came("louvres", None, _state(2), ms(11))
    looks = [one for one in third.take_observations() if isinstance(one, Samples)]

    assert [(look.samples[0].since, look.samples[0].at) for look in looks] == [
        (ms(3), ms(9)),
        (ms(11), ms(11)),
    ]


def test_what_it_hears_is_what_the_links_hear():
    third, own = heard(), links()
    for number, at in ((1, 5), (2, 7), (2, 8), (4, 9)):
        third.came("louvres", None, _state(number), ms(at))
    own_seen = []
    for number, at in ((1, 5), (2, 7), (2, 8), (4, 9)):
        from hil.wire.link import Packet

        own.receive(Packet("louvres", LOUVRES.address, _state(number)), ms(at))
        own_seen += own.take_observations()

    assert third.take_observations() == own_seen


def test_what_comes_from_elsewhere_or_is_garbled_is_noted_and_no_value():
    third = heard()
    third.came("louvres", Address("127.0.0.9", 5), _state(1), ms(1))
    third.came("louvres", None, b"\x31", ms(2))
    notes = third.take_observations()

    assert [note.trouble for note in notes if isinstance(note, NodeNote)] == [
        NodeTrouble.FOREIGN,
        NodeTrouble.GARBLED,
    ]


def test_where_a_node_may_speak_from_anywhere_it_is_heard_there_and_nobody_else_is():
    third = heard(replace(LOUVRES, any_source=True))
    elsewhere = Address("127.0.0.9", 5)
    third.sent("louvres", REQUEST.encode(request=65, operation=2, value=Decimal(90)), ms(1))
    answer = ANSWER.encode(request=65, operation=2, status=0, value=Decimal(90))
    replied = third.came("louvres", elsewhere, answer, ms(2))
    again = third.came("louvres", elsewhere, answer, ms(3))
    third.came("louvres", elsewhere, _state(1), ms(4))
    third.came("louvres", elsewhere, b"\x31", ms(5))
    seen = third.take_observations()
    notes = [note.trouble for note in seen if isinstance(note, NodeNote)]

    assert (replied.accepted, again) == (True, None)
    assert notes == [NodeTrouble.ANY_SOURCE, NodeTrouble.FOREIGN, NodeTrouble.FOREIGN]
    assert len([one for one in seen if isinstance(one, Samples)]) == 1


def test_a_reading_under_the_name_of_its_group_is_that_of_the_node_with_its_number():
    told = replace(LOUVRES, readings_to=Address("239.255.20.20", 47920))
    third = heard(FEEDLINE, told)
    third.came("239.255.20.20:47920", None, _state(1), ms(9))
    (look,) = third.take_observations()

    assert (look.node, look.samples[0].value) == ("louvres", Decimal(1))


def _state(number):
    return STATE.encode({"angle": Decimal(number)}, sequence=number, uptime=ms(number))
