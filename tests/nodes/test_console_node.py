"""The software node with a console: its program, its restarts, and patterns that do not fit it."""

from pathlib import Path

import pytest
from laws import obey

from hil.core.error import DescriptionError
from hil.core.instant import MILLISECOND, Instant
from hil.files.read import read_rack
from hil.nodes.rack import SoftwareRack
from hil.wire.rack import Envelope, far_end

ROOT = Path(__file__).parents[2]
DOSER = (ROOT / "fixtures" / "doser.yaml").read_text(encoding="utf-8")
MS = MILLISECOND


@pytest.fixture(scope="module")
def rack():
    return read_rack(ROOT / "fixtures" / "doser.yaml")


class Desk:
    """Somebody at the console of the doser; instants are milliseconds."""

    def __init__(self, rack, *, opened=True):
        self.nodes = SoftwareRack(rack, Instant(0))
        self.line = rack.nodes[0].console.address
        self.text = b""
        if opened:
            self.say(0, b"").until(400)
            self.text = b""

    def say(self, ms, octets):
        self.until(ms)
        self.nodes.receive(Envelope(far_end(self.line), self.line, octets), Instant(ms * MS))
        return self

    def until(self, ms):
        while (wakeup := self.nodes.next_wakeup()) is not None and wakeup <= ms * MS:
            self.nodes.tick(wakeup)
            self._collect()
        self._collect()
        return self

    def _collect(self):
        for envelope in self.nodes.take_sends():
            assert envelope.destination == far_end(self.line)
            self.text += envelope.payload

    @property
    def lines(self):
        return [line for line in self.text.decode().split("\r\n") if line]


def test_opening_restarts_it_and_its_boot_line_comes_when_it_is_up(rack):
    desk = Desk(rack, opened=False).say(0, b"")

    assert desk.until(299).text == b""
    assert desk.until(301).text == b"boot 2: doser 2.3.0 ready\r\ndoser> "


def test_it_says_who_it_is(rack):
    assert Desk(rack).say(500, b"id\n").until(600).lines == [
        "id",
        "id serial=DS-0201 firmware=2.3.0",
        "doser> ",
    ]


def test_a_command_is_echoed_answered_and_logged(rack):
    desk = Desk(rack).say(500, b"set valve op").say(501, b"en\r\n").until(600)

    assert desk.lines[:2] == ["set valve open", "ok valve=open"]
    assert desk.lines[2].endswith("valve: closed to open")


@pytest.mark.parametrize(
    ("said", "answer"),
    [
        (b"set rate 601\n", "err rate goes from 0 to 600"),
        (b"set rate x\n", "err rate goes from 0 to 600"),
        (b"set valve ajar\n", "err valve is one of closed, open"),
        (b"set flow 5\n", "err what is set flow 5?"),
        (b"hello\n", "err what is hello?"),
        (b"\xff\xfe\n", "err what is \\xff\\xfe?"),
    ],
)
def test_what_it_does_not_understand_it_says(rack, said, answer):
    assert answer in Desk(rack).say(500, said).until(600).lines


def test_the_flow_follows_the_rate_and_the_state_follows_the_tank(rack):
    desk = (
        Desk(rack).say(500, b"set valve open\nset rate 125\n").say(1_000, b"status\n").until(1_010)
    )
    assert "rate=125 valve=open tank=800 flow=125 state=dosing" in desk.lines[-2]

    desk.say(1_100, b"set tank 50\n").say(1_900, b"status\n").until(1_910)
    assert "tank=50 flow=0 state=dry" in desk.lines[-2]


def test_a_restart_is_answered_and_everything_moved_stands_still_after_it(rack):
    desk = Desk(rack).say(500, b"set valve open\n").say(600, b"set power restart\n").until(650)
    assert "ok power=restart" in desk.lines

    desk.say(700, b"status\n").until(890)
    assert "boot" not in desk.text.decode()
    desk.until(960).say(1_000, b"status\n").until(1_010)
    assert "boot 3: doser 2.3.0 ready" in desk.lines
    assert "boots=3 rate=0 valve=closed" in desk.lines[-2]


def test_silent_it_answers_nothing_but_what_ends_that(rack):
    desk = Desk(rack).say(500, b"set fault silent\n").say(600, b"status\nset rate 5\n").until(700)
    assert not any(line.startswith(("status ", "ok rate")) for line in desk.lines)

    assert "ok fault=none" in desk.say(800, b"set fault none\n").until(900).lines


def test_it_keeps_the_laws_of_machines(rack):
    line = rack.nodes[0].console.address
    said = [
        b"",
        b"set valve open\n",
        b"set ra",
        b"te 30\nstatus\n",
        b"set power restart\n",
        b"id\n",
    ]
    things = [
        (at * 150 * MS, Envelope(far_end(line), line, octets)) for at, octets in enumerate(said, 1)
    ]

    obey(lambda: SoftwareRack(rack, Instant(0)), things, 2_000 * MS, lambda r: r.next_wakeup())


@pytest.mark.parametrize(
    ("old", "new", "wrong"),
    [
        ("prompt: 'doser> '", "prompt: 'pump> '", "it says 'doser> '"),
        ("doser .*'\n", "pump .*'\n", "it says 'boot 1: doser 2.3.0 ready'"),
        ("send: status", "send: stat", "it knows 'status', not 'stat'"),
        ("send: id,", "send: who,", "it knows 'id', not 'who'"),
        ("'status boots", "'state boots", "readings: it says 'status boots=1"),
        ("rate: set rate {value}", "rate: rate {value}", "it does not take 'rate 0' for that"),
        ("'ok \\w+=(?P<value>\\S+)'", "'done'", "it answers 'ok rate=0', which is no `accept`"),
    ],
)
def test_patterns_that_do_not_fit_the_program_are_told_when_the_file_is_read(
    tmp_path, old, new, wrong
):
    assert old in DOSER
    file = tmp_path / "doser.yaml"
    file.write_text(DOSER.replace(old, new), encoding="utf-8")

    with pytest.raises(DescriptionError) as raised:
        read_rack(file)

    assert any(wrong in mistake.what for mistake in raised.value.mistakes)
