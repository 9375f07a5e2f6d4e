"""The software node that speaks CoAP, asked with octets written down by hand."""

from pathlib import Path

import cbor2
import pytest
from laws import obey

from hil.core.error import DescriptionError
from hil.core.instant import MILLISECOND, SECOND, Instant
from hil.files.read import read_rack
from hil.nodes.propagator import DEFAULTS
from hil.nodes.rack import SoftwareRack, misfits
from hil.wire.coap.message import Type, decode
from hil.wire.rack import Address, Envelope

RACK = read_rack(Path(__file__).parents[2] / "fixtures" / "propagator.yaml")
TOOL = Address("127.0.0.1", 50_000)
MS = MILLISECOND
GET, PUT = 1, 3


def options(path, observe=None, form=None):
    """Return the octets of Observe, Uri-Path and Content-Format (RFC 7252 §3.1)."""
    octets, last = b"", 0
    parts = [] if observe is None else [(6, bytes([observe]) if observe else b"")]
    parts += [(11, segment.encode()) for segment in path.split("/")]
    parts += [] if form is None else [(12, bytes([form]) if form else b"")]
    for number, value in parts:
        assert number - last < 13 > len(value)
        octets += bytes([number - last << 4 | len(value)]) + value
        last = number
    return octets


class Visitor:
    """Somebody who asks a node of the seed bench; instants are milliseconds."""

    def __init__(self, name="bed"):
        self.nodes = SoftwareRack(RACK, Instant(0))
        self.address = next(node.address for node in RACK.nodes if node.name == name)
        self.number = 0
        self.heard = []

    def until(self, ms):
        """Let time pass; return what came in that time."""
        before = len(self.heard)
        while (wakeup := self.nodes.next_wakeup()) is not None and wakeup <= ms * MS:
            self.nodes.tick(wakeup)
            self._collect(wakeup)
        self._collect(ms * MS)
        return [message for _, message in self.heard[before:]]

    def say(self, ms, octets):
        self.until(ms)
        self.nodes.receive(Envelope(TOOL, self.address, octets), Instant(ms * MS))

    def ask(self, ms, method, path, payload=b"", **more):
        """Send a confirmable request; return what comes within 20 ms."""
        self.number += 1
        head = bytes([0x41, method, 0, self.number, self.number])
        body = b"\xff" + payload if payload else b""
        self.say(ms, head + options(path, **more) + body)
        return self.until(ms + 20)

    def _collect(self, at):
        for envelope in self.nodes.take_sends():
            assert (envelope.source, envelope.destination) == (self.address, TOOL)
            self.heard.append((at, decode(envelope.payload)))


def test_a_text_has_its_suffix():
    (answer,) = Visitor().ask(0, GET, "sensors/soil")

    assert (answer.type, answer.code, answer.message_id, answer.token) == (
        Type.ACKNOWLEDGEMENT,
        0x45,
        1,
        b"\x01",
    )
    assert answer.payload == b"21 C"


def test_several_signals_stand_in_one_object():
    (answer,) = Visitor().ask(0, GET, "mat")

    assert answer.payload == b'{"duty":0,"heating":false}'


def test_a_pack_has_a_base_name_units_and_what_the_node_tells_about_itself():
    (answer,) = Visitor("hood").ask(0, GET, "air")

    assert cbor2.loads(answer.payload) == [  # labels as in RFC 8428 §6, table 6
        {-2: "urn:dev:ops:32473-PG-0102:", 0: "temperature", 1: "Cel", 2: 21},
        {0: "humidity", 1: "%RH", 2: 60},
        {0: "boots", 2: 1},
    ]


def test_it_tells_who_it_is_and_how_long_it_lives():
    visitor = Visitor()

    assert visitor.ask(0, GET, "about/serial")[0].payload == b"PG-0101"
    assert visitor.ask(2500, GET, "about/life")[0].payload == b'{"boots":1,"uptime":2}'


def test_what_is_not_there_is_not_found_and_what_is_not_readable_not_allowed():
    visitor = Visitor()

    assert visitor.ask(0, GET, "nothing")[0].code == 0x84  # 4.04
    assert visitor.ask(50, GET, "inject/soil")[0].code == 0x85  # 4.05
    assert visitor.ask(100, PUT, "sensors/soil", b"1 C", form=0)[0].code == 0x85


def test_a_command_is_done_and_what_it_changes_is_told():
    visitor = Visitor()
    visitor.ask(0, GET, "sensors/soil", observe=0)
    answer, *told = visitor.ask(100, PUT, "inject/soil", b"25.5 C", form=0)
    told += visitor.until(300)

    assert (answer.type, answer.code) == (Type.ACKNOWLEDGEMENT, 0x44)  # 2.04
    assert {message.token for message in told} == {b"\x01"}
    assert told[-1].payload == b"25.5 C"
    numbers = [int.from_bytes(dict(message.options)[6], "big") for message in told]
    assert numbers == sorted(set(numbers))


def test_observers_are_told_at_each_beat():
    visitor = Visitor()
    visitor.ask(0, GET, "mode", observe=0)

    assert len(visitor.until(2100)) == 4  # at 500 ms each
    assert {message.payload for message in visitor.until(3100)} == {b"by-hand"}


def test_a_deregistered_observer_is_told_nothing_more():
    visitor = Visitor()
    visitor.ask(0, GET, "mode", observe=0)
    head = bytes([0x41, GET, 0, 9, 1])
    visitor.say(50, head + options("mode", observe=1))
    visitor.until(70)

    assert visitor.until(3000) == []


@pytest.mark.parametrize(
    ("path", "payload", "form", "why"),
    [
        ("inject/soil", b"25.5", 0, b"is '25.5', declared is a number and 'C'"),
        ("inject/soil", b"99 C", 0, b"99 degC is outside the declared range -20 to 60 degC, raw 99"),
        ("mode", b"maybe", 0, b"is 'maybe', none of automatic, by-hand"),
        ("mat", b'{"duty": "much"}', 50, b"is 'much', no number"),
        ("mat", b"{", 50, b"payload is no JSON: expecting property name enclosed in double quotes at line 1 column 2"),
    ],
)  # fmt: skip
def test_a_command_that_makes_no_sense_is_refused_with_the_reason(path, payload, form, why):
    (answer,) = Visitor().ask(0, PUT, path, payload, form=form)

    assert (answer.code, answer.payload) == (0x80, why)  # 4.00


def test_a_repeated_command_is_answered_again_and_not_done_again():
    visitor = Visitor()
    request = bytes([0x41, PUT, 0, 7, 7]) + options("inject/soil", form=0) + b"\xff25 C"
    visitor.say(0, request)
    first = visitor.until(20)
    visitor.ask(50, PUT, "inject/soil", b"30 C", form=0)
    visitor.say(100, request)
    again = visitor.until(120)

    assert first == again
    assert visitor.ask(500, GET, "sensors/soil")[0].payload == b"30 C"


def test_a_restart_answers_goes_away_and_forgets():
    visitor = Visitor()
    visitor.ask(0, GET, "sensors/soil", observe=0)
    (answer,) = visitor.ask(100, PUT, "inject/power", b"restart", form=0)[:1]
    away = visitor.ask(200, GET, "about/life")
    silent = visitor.until(1000)
    life = visitor.ask(1000, GET, "about/life")

    assert answer.code == 0x44
    assert away == silent == []
    assert life[0].payload == b'{"boots":2,"uptime":0}'
    assert visitor.ask(1100, GET, "inject/power")[0].payload == b"run"


def test_a_broken_sensor_shows_no_measurement():
    visitor = Visitor()
    visitor.ask(0, PUT, "inject/fault", b"open-circuit", form=0)
    hood = Visitor("hood")
    hood.ask(0, PUT, "inject/fault", b"open-circuit", form=0)
    (pack,) = hood.ask(50, GET, "air")

    assert visitor.ask(50, GET, "sensors/soil")[0].payload == b"NaN"
    assert [record[0] for record in cbor2.loads(pack.payload)] == ["boots"]


def test_the_thermostat_has_a_dead_band():
    visitor, heats, at = Visitor(), [], 0
    visitor.ask(0, PUT, "mode", b"automatic", form=0)
    for celsius in ("20.0", "19.9", "21.9", "22.0", "22.1", "20.1"):
        at += 1000
        visitor.ask(at, PUT, "inject/soil", f"{celsius} C".encode(), form=0)
        heats.append(b"true" in visitor.ask(at + 900, GET, "mat")[0].payload)

    assert heats == [False, True, True, True, False, False]


def test_by_hand_begins_cold():
    visitor = Visitor()
    visitor.ask(0, PUT, "mode", b"automatic", form=0)
    visitor.ask(100, PUT, "inject/soil", b"10 C", form=0)
    warm = visitor.ask(1000, GET, "mat")[0].payload
    visitor.ask(1100, PUT, "mode", b"by-hand", form=0)

    assert warm == b'{"duty":80,"heating":true}'
    assert visitor.ask(1200, GET, "mat")[0].payload == b'{"duty":0,"heating":false}'


def test_octets_that_mean_nothing_are_answered_as_the_standard_says():
    visitor = Visitor()
    visitor.say(0, b"\x40\x01\x12")
    visitor.say(0, b"\x31" * 20)
    visitor.say(0, b"\x40\x00\x12\x34")  # a ping (RFC 7252 §4.3)
    (reset,) = visitor.until(50)

    assert (reset.type, reset.message_id) == (Type.RESET, 0x1234)


def test_it_obeys_the_laws_of_machines():
    def request(number, method, path, payload=b"", **more):
        body = b"\xff" + payload if payload else b""
        octets = bytes([0x41, method, 0, number, number]) + options(path, **more) + body
        return Envelope(TOOL, RACK.nodes[0].address, octets)

    things = [
        (1 * MS, request(1, GET, "sensors/soil", observe=0)),
        (2 * MS, request(2, GET, "mat", observe=0)),
        (300 * MS, request(3, PUT, "inject/soil", b"15 C", form=0)),
        (301 * MS, request(4, PUT, "mode", b"automatic", form=0)),
        (900 * MS, request(5, PUT, "inject/power", b"restart", form=0)),
        (1500 * MS, request(6, GET, "sensors/soil", observe=0)),
        (1501 * MS, Envelope(TOOL, RACK.nodes[0].address, b"nonsense")),
    ]

    obey(
        lambda: SoftwareRack(RACK, Instant(0)), things, 3 * SECOND, lambda rack: rack.next_wakeup()
    )


def test_a_bench_that_does_not_fit_the_model_is_refused(tmp_path):
    text = (Path(__file__).parents[2] / "fixtures" / "propagator.yaml").read_text("utf-8")
    file = tmp_path / "bench.yaml"
    file.write_text(text.replace("mat-on-below: 20.0 degC", "mat-on-below: 23.0 degC"))

    with pytest.raises(DescriptionError, match="mat-on-below must be below mat-off-above"):
        read_rack(file)
    assert misfits(RACK) == ()
    assert DEFAULTS["mat-on-below"] == "20.0 degC"
