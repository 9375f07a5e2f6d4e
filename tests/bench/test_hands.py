"""What a bench without hands says to what it is asked."""

from bench.small import SMALL, command, ms

from hil.bench.hands import Hands
from hil.core.errand import Halt, Prompt, Unmanned, Withdrawn
from hil.core.observation import CommandLost


def test_a_question_where_nobody_is_is_answered_by_saying_so():
    hands = Hands(SMALL, ms(0))
    hands.execute(Prompt(token=1, act=True, text="open the valve", until=ms(100)), ms(5))

    assert hands.take_observations() == [Unmanned(at=ms(5), text="nobody is at this bench")]


def test_what_needs_no_answer_gets_none():
    hands = Hands(SMALL, ms(0))
    hands.execute(Withdrawn(token=1, outcome="nothing"), ms(5))
    hands.execute(Halt(), ms(5))

    assert hands.take_observations() == []


def test_commands_go_to_their_nodes():
    hands = Hands(SMALL, ms(0))
    hands.execute(command(), ms(5))
    (lost,) = hands.take_observations()

    assert isinstance(lost, CommandLost)
    assert not lost.broken
