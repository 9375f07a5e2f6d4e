"""The guard's orders: one safe datagram for every driven signal, as the independent node reads it."""

from runner.gauge import describe
from wall.plain_node import REQUEST, PlainNode

from hil.runner.listing import list_cases
from hil.runner.options import Options
from hil.runner.selection import select
from hil.runner.site import SAFE_REQUESTS, safe_datagrams


def test_the_guards_datagrams_make_an_independent_node_safe(tmp_path):
    rack, _ = describe(tmp_path)
    node = PlainNode()
    node.arm, node.pressure = 450, 480
    for order in safe_datagrams(rack):
        assert node.take(order.packet.payload, ("127.0.0.1", 1))

    assert (node.arm, node.pressure) == (0, 200)


def test_the_guards_request_numbers_are_not_those_of_a_run(tmp_path):
    rack, _ = describe(tmp_path)
    numbers = [REQUEST.unpack(order.packet.payload)[2] for order in safe_datagrams(rack)]

    assert all(number >= SAFE_REQUESTS for number in numbers)
    assert len(numbers) == len(set(numbers))


def test_actuators_come_before_injected_values(tmp_path):
    rack, _ = describe(tmp_path)
    operations = [REQUEST.unpack(order.packet.payload)[3] for order in safe_datagrams(rack)]

    assert operations == [3, 2]  # the arm, then the pressure


def test_a_listing_tells_nodes_and_limits(tmp_path):
    from hil.files.read import read_plan

    rack, _ = describe(tmp_path)
    plan = read_plan(str(tmp_path / "plan.yaml"), rack)
    text = "\n".join(list_cases(rack, select([plan], Options())))

    for part in (
        "2 cases on plain: Gauge",
        "gauge at 127.0.0.1:47123",
        "first   gauge.lamp: green within 3 s",
        "drive   gauge.arm to 45 deg",
        "expect  gauge.arm: 45 deg ± 1 deg within 500 ms",
    ):
        assert part in text
