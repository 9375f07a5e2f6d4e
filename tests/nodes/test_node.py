"""One software node, against bytes built by hand."""

import itertools
import struct

import pytest
from nodes.hand import (
    FAULT,
    LISTEN,
    MS,
    POWER,
    READ,
    TOOL,
    TRANSIT,
    Operator,
    answer,
    request,
    sealed,
    take_apart,
)

from hil.wire.rack import Address

PRESSURE, LAMP, CAPTION = 2, 4, 6


@pytest.fixture
def tool() -> Operator:
    return Operator()


def answers(tool: Operator, node: str) -> list[bytes]:
    return [payload for _, name, payload in tool.answers if name == node]


def test_node_answers_a_command_with_its_number(tool: Operator) -> None:
    tool.send("feedline", request("feedline", 65, PRESSURE, 480))
    tool.run(10)

    assert [answer("feedline", 65, PRESSURE, 0, 480)] == answers(tool, "feedline")


def test_node_takes_a_few_milliseconds_for_an_answer(tool: Operator) -> None:
    for _ in range(50):
        tool.ask("beacon", LAMP, 1)
        tool.run(20)
    took = [at - 20 * MS * index - 2 * TRANSIT for index, (at, _, _) in enumerate(tool.answers)]

    assert 1 * MS <= min(took) < 2 * MS
    assert 5 * MS < max(took) <= 6 * MS


def test_node_gives_a_reading_when_asked(tool: Operator) -> None:
    tool.run(1_000)
    tool.ask("tile", READ)
    tool.run(10)
    reading = tool.readings["tile"][0]

    assert (reading.serial, reading.firmware, reading.boots) == (b"GH-0108\0", b"1.4.2\0", 1)
    assert 1_001 <= reading.uptime <= 1_007
    assert [answer("tile", 1, READ, 0, 0)] == answers(tool, "tile")


def test_node_reports_ten_times_a_second_to_its_listeners(tool: Operator) -> None:
    tool.listen("beacon")
    tool.run(3_000)
    beats = [reading.at for reading in tool.readings["beacon"][-20:]]

    assert {100 * MS} == {after - before for before, after in itertools.pairwise(beats)}


def test_node_numbers_the_readings_of_each_listener_without_a_gap(tool: Operator) -> None:
    other = Address("127.0.0.1", 50_001)
    tool.listen("feedline")
    tool.run(500)
    tool.send("feedline", request("feedline", 1, READ), source=other)
    tool.ask("feedline", PRESSURE, 300)
    tool.run(500)
    heard = [reading.sequence for reading in tool.readings["feedline"]]

    assert list(range(len(heard))) == heard
    assert len(heard) > 10


def test_node_reports_a_change_at_once(tool: Operator) -> None:
    tool.listen("beacon")
    tool.run(1_000)
    asked = tool.now
    tool.ask("beacon", LAMP, 3)
    tool.run(50)

    assert tool.when("beacon", lambda raw: raw[0] == 3, asked) < 7


def test_node_forgets_a_listener_after_three_times_renew(tool: Operator) -> None:
    tool.listen("tile")
    tool.run(10_000)
    last = tool.readings["tile"][-1].at

    assert 5_900 * MS < last < 6_100 * MS


def test_node_does_a_repeated_request_once_and_repeats_its_answer(tool: Operator) -> None:
    tool.listen("tile")
    tool.run(100)
    twice = request("tile", 7, LAMP, 2)
    tool.send("tile", twice)
    tool.run(20)
    tool.ask("tile", LAMP, 3)
    tool.run(20)
    tool.send("tile", twice)
    tool.run(20)

    assert answers(tool, "tile").count(answer("tile", 7, LAMP, 0, 2)) == 2
    assert tool.last("tile")[0] == 3


def test_node_takes_a_request_in_hand_once(tool: Operator) -> None:
    tool.send("tile", request("tile", 7, LAMP, 2))
    tool.send("tile", request("tile", 7, LAMP, 2))
    tool.run(20)

    assert [answer("tile", 7, LAMP, 0, 2)] == answers(tool, "tile")


def test_an_answer_bears_the_nodes_own_time_where_its_layout_has_one(tool: Operator) -> None:
    tool.run(1_000)
    number = tool.ask("beacon", LAMP, 2)
    tool.run(20)
    (octets,) = answers(tool, "beacon")
    head = struct.pack(">BBHBB", 0x25, 7, number, LAMP, 0)

    assert octets == sealed(head + octets[6:10] + struct.pack(">i", 2))
    assert 1_000 <= int.from_bytes(octets[6:10], "big") <= 1_020


@pytest.mark.parametrize(
    ("node", "operation", "argument", "status", "result"),
    [
        ("feedline", 99, 0, 1, 0),  # no such operation
        ("feedline", PRESSURE, 1001, 2, 240),  # above its range: the value in force comes back
        ("feedline", PRESSURE, -1, 2, 240),
        ("feedline", PRESSURE, 0x7FFF, 2, 240),  # a sentinel is no value
        ("tile", LAMP, 9, 2, 0),  # no such label
        ("louvres", 11, 601, 2, 0),
        ("circulator", LISTEN, 0, 1, 0),  # it never speaks unasked
    ],
)
def test_node_refuses_with_a_status(
    tool: Operator, node: str, operation: int, argument: int, status: int, result: int
) -> None:
    number = tool.ask(node, operation, argument)
    tool.run(20)

    assert [answer(node, number, operation, status, result)] == answers(tool, node)


@pytest.mark.parametrize(
    "octets",
    [
        b"",
        b"\x21",
        request("feedline", 1, PRESSURE, 300)[:-1] + b"\0",  # CRC
        request("feedline", 1, PRESSURE, 300) + b"\0",  # length
        request("cistern", 1, PRESSURE, 300),  # another node's number
        sealed(struct.pack(">BBHBi", 0x29, 1, 1, PRESSURE, 300)),  # kind
        answer("feedline", 1, PRESSURE, 0, 300),
    ],
)
def test_node_does_not_answer_what_is_no_request_to_it(tool: Operator, octets: bytes) -> None:
    tool.send("feedline", octets)
    tool.run(50)

    assert answers(tool, "feedline") == []


def test_node_carries_text(tool: Operator) -> None:
    tool.ask("tile", CAPTION, "DOORS OPEN")
    tool.ask("tile", READ)
    tool.run(20)
    body = struct.pack(">BBHBB16s", 0x24, 8, 1, CAPTION, 0, b"DOORS OPEN")

    assert sealed(body) == answers(tool, "tile")[0]
    assert b"DOORS OPEN".ljust(16, b"\0") == tool.last("tile")[2]


def test_polled_node_never_speaks_unasked(tool: Operator) -> None:
    tool.ask("circulator", 2, 50)
    tool.run(2_000)

    assert tool.readings["circulator"] == []


def test_sensor_lags_behind_what_is_imposed(tool: Operator) -> None:
    tool.listen("feedline")
    tool.run(500)
    tool.ask("feedline", PRESSURE, 740)
    tool.run(300)
    done = next(at for at, _, payload in tool.answers if payload[4] == PRESSURE) - TRANSIT
    # 63.2 % of the step from 2.40 to 7.40 bar after one time constant of 10 ms: 5.56 bar.
    after_tau = [r.raw[0] for r in tool.readings["feedline"] if r.at == done + 10 * MS + TRANSIT]

    assert after_tau == [pytest.approx(556, abs=1)]
    assert tool.last("feedline")[0] == 740


def test_open_circuit_shows_the_sentinel_and_none_ends_it(tool: Operator) -> None:
    tool.listen("feedline", "cistern", "mast")
    for node in ("feedline", "cistern", "mast"):
        tool.ask(node, FAULT, 1)
    tool.run(300)
    broken = tool.last("feedline")[0], tool.last("cistern")[:2], tool.last("mast")
    tool.ask("feedline", FAULT, 0)
    tool.run(100)

    assert broken[:2] == (0x7FFF, (0xFFFF, 0xFFFF))
    assert broken[2][:5] == (0xFFFFFFFF, 0x7FFF, 0xFFFF, 0x7FFF, 0x7FFF)
    assert tool.last("feedline")[0] == 240


def test_barometer_sends_nan_with_its_words_swapped(tool: Operator) -> None:
    tool.listen("mast")
    tool.run(200)
    whole = tool.last("mast")
    tool.ask("mast", FAULT, 4)
    tool.run(200)
    broken = tool.last("mast")

    def pascal(sent: bytes) -> float:
        return struct.unpack(">f", sent[2:] + sent[:2])[0]

    assert pascal(whole[5]) == pytest.approx(101_325, abs=10)
    assert pascal(broken[5]) != pascal(broken[5])  # NaN is unequal to itself
    assert whole[1] == pytest.approx(broken[1], abs=5)


def test_frozen_sensor_ignores_what_is_imposed(tool: Operator) -> None:
    tool.listen("feedline")
    tool.ask("feedline", FAULT, 2)
    tool.run(50)
    tool.ask("feedline", PRESSURE, 900)
    tool.run(300)
    frozen = tool.last("feedline")[0]
    tool.ask("feedline", FAULT, 0)
    tool.run(300)

    assert (frozen, tool.last("feedline")[0]) == (240, 900)


def test_silent_node_still_answers(tool: Operator) -> None:
    tool.listen("feedline")
    tool.run(100)
    tool.ask("feedline", FAULT, 3)
    tool.run(20)
    heard = len(tool.readings["feedline"])
    number = tool.ask("feedline", READ)
    tool.run(1_000)
    quiet = len(tool.readings["feedline"])
    tool.ask("feedline", FAULT, 0)
    tool.run(200)

    assert heard == quiet
    assert answer("feedline", number, READ, 0, 0) in answers(tool, "feedline")
    assert len(tool.readings["feedline"]) > quiet


def test_restart_answers_goes_away_and_announces_itself(tool: Operator) -> None:
    tool.listen("louvres")
    tool.ask("louvres", 11, 300)
    tool.run(1_000)
    number = tool.ask("louvres", POWER, 1)
    tool.run(100)
    asked = tool.ask("louvres", READ)  # nobody is there
    tool.run(1_000)
    before, announced = tool.readings["louvres"][-2:]

    assert answer("louvres", number, POWER, 0, 1) in answers(tool, "louvres")
    assert answer("louvres", asked, READ, 0, 0) not in answers(tool, "louvres")
    assert (before.boots, before.raw[8]) == (1, 1)
    assert (announced.boots, announced.uptime, announced.sequence, announced.raw[8]) == (2, 0, 0, 0)
    assert announced.at - before.at == 200 * MS
    assert (announced.raw[0], announced.raw[4]) == (0, 300)  # told nothing, not yet home


def test_restarted_sensor_measures_again_from_nothing(tool: Operator) -> None:
    tool.ask("feedline", PRESSURE, 500)
    tool.listen("feedline")
    tool.run(300)
    tool.ask("feedline", POWER, 1)
    tool.run(220)
    first = tool.last("feedline")[0]
    tool.listen("feedline")
    tool.run(300)

    assert (first, tool.last("feedline")[0]) == (0, 500)


def test_readings_are_exactly_as_long_as_declared(tool: Operator) -> None:
    tool.listen()
    tool.ask("circulator", READ)
    tool.run(200)

    assert all(tool.readings.values())
    for _, envelope in tool.passed:
        if envelope.destination == TOOL and envelope.payload[0] == 0x31:
            take_apart(tool.names[envelope.source], envelope.payload, 0)  # asserts it
