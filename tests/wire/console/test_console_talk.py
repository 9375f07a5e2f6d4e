"""What tool and node say on a console: answers, log in between, deadlines, echoes, prompts."""

from decimal import Decimal

import pytest
from laws import obey
from wire.console.consoles import ERR, MS, OK, Talk, listened, pump
from wire.racks import rack

from hil.core.event import ConsoleLine
from hil.core.instant import Duration, Instant
from hil.core.observation import Command, CommandSent, Purpose, Samples
from hil.core.signal import Validity
from hil.wire.console.description import Line, Phrase, Question
from hil.wire.console.pattern import read_pattern
from hil.wire.link import Links, Packet
from hil.wire.overheard import Overheard

PROMPT = read_pattern("pump> ")


def test_a_command_is_said_in_words_and_its_answer_accepts_it():
    talk = Talk().drive(10, "pump.rate", Decimal("12.5")).hear(14, "ok 125\r\n")

    assert talk.said == ["rate 125\n"]
    assert talk.answers == [(14, True, "answered 12.5 mL/min")]
    assert [sent.at for sent in talk.of(CommandSent)] == [10 * MS]


def test_a_state_is_said_by_its_name_or_by_its_number():
    raw = Phrase(send="v{raw}", accept=OK)
    talk = Talk(pump(commands={"valve": raw})).drive(0, "pump.valve", "open")

    assert talk.said == ["v1\n"]
    assert Talk().drive(0, "pump.valve", "open").said == ["valve open\n"]


def test_a_refusal_is_told_in_the_nodes_own_words():
    talk = Talk().drive(0, "pump.rate", 60).hear(3, "err dry\n")

    assert talk.answers == [(3, False, "dry")]


def test_an_answer_that_tells_another_value_says_so():
    talk = Talk().drive(0, "pump.rate", 60).hear(3, "ok 599\n")

    assert talk.answers == [(3, True, "answered 59.9 mL/min, asked for 60 mL/min")]


@pytest.mark.parametrize(
    "between",
    [
        "[ 1.2] motor: step\r\n",
        "okay then\n",
        "error 5\n",
        "\xff\x00 garbage ok\n",
        "a" * 600 + "\n",
        "\r\n\r\n",
    ],
)
def test_log_lines_between_never_answer(between):
    talk = Talk().drive(0, "pump.rate", 1).hear(1, between).hear(2, between).hear(3, "ok\n")

    assert talk.answers == [(3, True, "")]


def test_an_answer_may_come_in_any_pieces():
    talk = Talk().drive(0, "pump.rate", 1).hear(1, "[x] a line\no").hear(2, "k").hear(3, "\r\n")

    assert talk.answers == [(3, True, "")]


def test_the_echo_of_a_command_is_passed_over_once():
    anything = {"rate": Phrase(send="rate {value}", accept=read_pattern(".*"))}
    talk = Talk(pump(commands=anything)).drive(0, "pump.rate", 1).hear(1, "rate 10\r\n")

    assert talk.answers == []
    assert talk.hear(2, "rate 10\r\n").answers == [(2, True, "")]


def test_where_there_is_no_echo_the_same_words_are_the_answer():
    anything = {"rate": Phrase(send="rate {value}", accept=read_pattern(".*"))}
    node = pump(commands=anything, echo=False)

    assert Talk(node).drive(0, "pump.rate", 1).hear(1, "rate 10\r\n").answers == [(1, True, "")]


def test_one_thing_is_said_at_a_time():
    talk = Talk().drive(0, "pump.rate", 1).drive(1, "pump.valve", "open", token=2)

    assert talk.said == ["rate 10\n"]
    assert talk.hear(4, "ok\n").said == ["rate 10\n", "valve open\n"]
    assert [sent.at / MS for sent in talk.of(CommandSent)] == [0, 4]


def test_where_there_is_a_prompt_the_next_waits_for_it():
    talk = Talk(pump(prompt=PROMPT))
    talk.drive(0, "pump.rate", 1).drive(0, "pump.valve", "open", token=2).hear(4, "ok\r\n")

    assert talk.said == ["rate 10\n"]
    assert talk.hear(5, "pump> ").said == ["rate 10\n", "valve open\n"]


def test_a_prompt_that_does_not_come_is_not_waited_for_for_ever():
    talk = Talk(pump(prompt=PROMPT))
    talk.drive(0, "pump.rate", 1).drive(0, "pump.valve", "open", token=2).hear(4, "ok\r\n")

    assert talk.at(60).said == ["rate 10\n", "valve open\n"]


def test_a_prompt_before_echo_and_answer_hides_neither():
    talk = Talk(pump(prompt=PROMPT)).hear(0, "pump> ").drive(1, "pump.rate", 1)
    talk.hear(2, "rate 10\r\npump> ok 10\r\npump> ")

    assert talk.answers == [(2, True, "answered 1.0 mL/min")]


# --- deadlines ----------------------------------------------------------------------------------


def test_an_answer_at_the_very_deadline_is_in_time():
    assert Talk().drive(0, "pump.rate", 1).hear(50, "ok\n").answers == [(50, True, "")]


# pyserial #487, #730: a time-out that begins again with every octet is no deadline.
def test_a_node_that_says_one_octet_after_the_other_does_not_move_the_deadline():
    node = pump()
    talk = Talk(node).drive(0, "pump.rate", 1)
    for ms in range(4, 44, 4):
        talk.hear(ms, ".")
    talk.at(200)

    [(at, why)] = talk.lost
    assert at == pytest.approx(50)
    assert why == (
        'no answer within 50 ms; it said ".........." without a line end '
        "(10 octets: 2e 2e 2e 2e 2e 2e 2e 2e 2e 2e)"
    )


def test_a_node_that_babbles_does_not_move_the_deadline():
    talk = Talk().drive(0, "pump.rate", 1)
    for ms in range(1, 100):
        talk.hear(ms, f"line {ms}\n")

    assert talk.lost == [
        (pytest.approx(50), 'no answer within 50 ms; the last it said was "line 50"')
    ]


def test_a_node_that_says_nothing_is_told_as_that():
    talk = Talk().drive(0, "pump.rate", 1).at(60)

    assert talk.lost == [(pytest.approx(50), "no answer within 50 ms; it said nothing")]


def test_what_leaves_late_has_its_whole_time_to_be_answered():
    """This computer was stopped between wanting to say it and saying it."""
    talk = Talk()
    command = Command(token=1, signal="pump.rate", value=Decimal(1), purpose=Purpose.STIMULUS)
    talk.links.execute(command, Instant(0))
    (packet,) = talk.links.take_sends()
    talk.links.tick(Instant(200 * MS))
    talk.links.sent(packet, Instant(300 * MS))

    assert talk.hear(350, "ok\n").answers == [(350, True, "")]
    assert talk.lost == []


def test_a_late_answer_is_not_taken_for_the_answer_to_the_next_command():
    talk = Talk().drive(0, "pump.rate", 1).drive(60, "pump.valve", "open", token=2).hear(70, "ok\n")

    assert talk.answers == []
    assert talk.said == ["rate 10\n", "valve open\n"]
    assert talk.notes == [("stray", 'late answer to "rate 10", which was given up: "ok"')]
    assert talk.hear(80, "ok\n").answers == [(80, True, "")]


def test_after_a_missed_answer_it_is_quiet_for_as_long_again():
    talk = Talk().drive(0, "pump.rate", 1).drive(60, "pump.valve", "open", token=2)

    assert talk.at(99).said == ["rate 10\n"]
    assert talk.at(101).said == ["rate 10\n", "valve open\n"]


def test_what_cannot_be_said_is_lost_at_once():
    talk = Talk(pump(commands={})).drive(3, "pump.rate", 1)
    ajar = Talk().drive(3, "pump.valve", "ajar")

    assert talk.lost == [(3, "pump.rate cannot be driven")]
    assert ajar.lost == [(3, "pump.valve: no state is called 'ajar'")]


# --- readings -----------------------------------------------------------------------------------


def test_a_reading_carries_values_by_their_raw_numbers_and_names():
    talk = Talk().hear(1, "hello\nrate=125 valve=open\n").hear(2, "rate=7.5 valve=1\n")

    assert talk.values == [
        ("rate", Decimal("12.5")),
        ("valve", "open"),
        ("rate", Decimal("0.75")),
        ("valve", "open"),
    ]


@pytest.mark.parametrize(
    ("word", "note"),
    [
        ("-", "'-' is no number"),
        ("nan", "'nan' is no number"),
        ("inf", "'inf' is no number"),
        ("1e999", "1e+998 mL/min is outside the declared range 0 mL/min to 60 mL/min"),
        ("1,5", "'1,5' is no number"),
        ("9999", "sentinel 9999"),
        ("601", "60.1 mL/min is outside the declared range 0 mL/min to 60 mL/min"),
        ("-1", "-0.1 mL/min is outside the declared range 0 mL/min to 60 mL/min"),
    ],
)
def test_what_is_no_measurement_is_invalid_and_says_why(word, note):
    talk = Talk().hear(1, f"\nx\nrate={word} valve=closed\n")
    sample = talk.of(Samples)[0].samples[0]

    assert (sample.value, sample.validity, sample.note) == (None, Validity.INVALID, note)


def test_a_state_that_has_no_name_is_invalid():
    talk = Talk().hear(1, "x\nrate=0 valve=ajar\nrate=0 valve=7\n")
    notes = [one.samples[1].note for one in talk.of(Samples)]

    assert notes == ["no label for 'ajar'", "no label for '7'"]


def test_the_first_line_after_the_opening_may_lack_its_beginning_and_is_no_reading():
    assert Talk().hear(1, "rate=25 valve=open\n").values == []


def test_a_reading_that_came_by_itself_is_as_old_as_its_first_character():
    # 20 characters and a line end of 10 bits each at 9,600 bit/s are 21.875 ms
    talk = Talk(pump(line=Line(rate=9_600)))
    talk.hear(1, "x\n").hear(100, "rate=125 valve=closed"[:20]).hear(130, "d\n")
    [sample, _] = talk.of(Samples)[0].samples

    assert (sample.since / MS, sample.at / MS) == (100, 130)
    talk.hear(300, "rate=125 valve=close\n".replace("close", "open"))
    late = talk.of(Samples)[1].samples[0]
    assert late.since == 300 * MS - Line(rate=9_600).lasting(len("rate=125 valve=open") + 1)


def test_a_reading_that_was_asked_for_is_as_old_as_the_question():
    talk = Talk(pump(read=Question(send="s", every=Duration(100 * MS))))
    talk.hear(7, "rate=125 valve=open\n")
    [sample, _] = talk.of(Samples)[0].samples

    assert (sample.since, sample.at) == (0, 7 * MS)
    assert talk.at(250).said == ["s\n", "s\n", "s\n"]


def test_a_reading_is_never_younger_than_itself():
    """A recording may hold the answer before its question."""
    third = Overheard(rack(pump(read=Question(send="s", every=Duration(100 * MS)))))
    third.stood(ConsoleLine(at=Instant(1 * MS), node="pump", text="hello"), b"")
    third.stood(ConsoleLine(at=Instant(9 * MS), node="pump", text="s", way="out"), b"")
    third.stood(ConsoleLine(at=Instant(7 * MS), node="pump", text="rate=125 valve=open"), b"")
    [told] = [each for each in third.take_observations() if isinstance(each, Samples)]

    assert {(sample.since, sample.at) for sample in told.samples} == {(7 * MS, 7 * MS)}


def test_readings_are_asked_for_in_their_rhythm_and_never_twice_at_once():
    talk = Talk(pump(read=Question(send="s", every=Duration(20 * MS))))

    assert talk.at(49).said == ["s\n"]
    assert len(talk.at(101).said) == 2  # given up at 50 ms, quiet until 100 ms


def test_a_command_comes_before_a_reading_that_waits():
    talk = Talk(pump(read=Question(send="s", every=Duration(20 * MS))))
    talk.drive(25, "pump.rate", 1).hear(30, "rate=1 valve=open\n")

    assert talk.said == ["s\n", "rate 10\n"]


def test_a_value_of_which_nothing_comes_grows_stale():
    talk = Talk().hear(1, "x\nrate=125 valve=open\n").at(600)
    sample = talk.of(Samples)[-1].samples[0]

    assert (sample.signal, sample.validity, sample.at) == ("pump.rate", Validity.STALE, 501 * MS)
    assert sample.note == "nothing for 500 ms"


# --- the line -----------------------------------------------------------------------------------


def test_a_line_that_fails_loses_what_was_open_and_every_value():
    talk = Talk().hear(0, "x\nrate=1 valve=open\n").drive(1, "pump.rate", 1)
    talk.links.unplugged("pump", Instant(5 * MS), "the console of pump is gone")
    talk.at(5)

    assert talk.lost == [(5, "the console of pump is gone")]
    assert talk.notes == [("port closed", "the console of pump is gone")]
    stale = talk.of(Samples)[-1].samples
    assert {sample.validity for sample in stale} == {Validity.STALE}
    assert {sample.note for sample in stale} == {"the console of pump is gone"}


def test_every_line_is_told_with_its_octets_where_the_text_does_not_tell_them():
    talk = Talk().hear(1, b"plain\n\xff\n")
    links = Links(rack(pump()), Instant(0))
    links.receive(Packet("pump", pump().address, b"\xffx\n"), Instant(7))
    [line] = links.take_lines()

    assert talk.lines == ["plain", "\\xff"]
    assert (line.at, line.text, line.hex) == (7, "\\xffx", "ff78")


def test_a_long_line_is_told_in_pieces_and_noted_once():
    talk = Talk(pump(longest=80)).hear(1, "x" * 200 + "\n").hear(2, "y" * 200 + "\n")

    assert [len(line) for line in talk.lines] == [80, 80, 40] * 2
    assert talk.notes == [("garbled", "a line of more than 80 octets is taken apart and not read")]


def test_a_console_beside_datagrams_is_only_listened_to():
    talk = Talk(listened()).hear(1, "boot: ok\n")

    assert talk.lines == ["boot: ok"]
    assert [text for text in talk.said if "rate" in text] == []


def test_it_keeps_the_laws_of_machines():
    node = pump(read=Question(send="s", every=Duration(30 * MS)), prompt=PROMPT)
    octets = [b"x\nrate=", b"125 valve=open\r\npump> ", b"junk \xff\n", b"ok\n", b"pump> "]

    class Machine:
        """The links behind the shape that the suite drives."""

        def __init__(self):
            self.links = Links(rack(node), Instant(0))
            self.seen = []
            self.tick, self.next_wakeup = self.links.tick, self.links.next_wakeup

        def receive(self, thing, now):
            self.links.receive(thing, now)

        def take_sends(self):
            return self.links.take_sends()

        def told(self):
            self.seen += [self.links.take_observations(), self.links.take_lines()]
            return self.seen

    things = [(at * 17 * MS, Packet("pump", node.address, o)) for at, o in enumerate(octets * 4, 1)]

    obey(
        Machine,
        things,
        2_000 * MS,
        lambda machine: [one for told in machine.told() for one in told],
    )


def test_the_patterns_of_the_demo_console_take_their_own_words():
    assert ERR.fullmatch("err dry")["why"] == "dry"
