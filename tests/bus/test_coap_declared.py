"""What CoAP nodes and groups put on the segment, by hand, by another library, and as it really was."""

import json
from pathlib import Path

import pytest
from bus.benches import PROPAGATOR, changed

from hil.bus.coap_declared import resource_names
from hil.bus.demand import sent_by
from hil.bus.standing import stand
from hil.bus.way import route, ways
from hil.core.error import DescriptionError
from hil.core.instant import MILLISECOND, SECOND
from hil.files.read import read_rack
from hil.runner.options import Options
from hil.runner.run import run_plans

ROOT = Path(__file__).parents[2]


def read(*changes, text=PROPAGATOR):
    return changed(text, *changes)


def traffic(rack):
    return {each.name: each for each in rack.bus.segment.traffic}


# RFC 7252 §3: 4 octets of header, the token (here 4), then each option with one octet before it
HEAD = 4 + 4
REGISTER_MAT = HEAD + 1 + (1 + len("mat")) + (1 + 1)  # Observe 0, Uri-Path, Accept 50
# §5.10: ETag of 8, Observe of 3 (RFC 7641 §2), Content-Format 50, Max-Age of 4; then the marker
NOTIFY = HEAD + (1 + 8) + (1 + 3) + (1 + 1) + (1 + 4) + 1


def test_a_registration_and_a_notification_by_hand():
    found = traffic(read())

    assert found["bed.mat.renew"].payload == REGISTER_MAT == 15
    longest = len('{"duty": 1234567.8901234567, "heating": false}')
    assert NOTIFY + longest <= found["bed.mat.readings"].payload <= NOTIFY + longest + 8  # blanks
    assert found["bed.mat.readings"].answer == 4  # an empty acknowledgement, RFC 7252 §4.2


def test_the_rhythm_is_that_of_polls_renewals_and_the_declared_rate():
    found = traffic(read())

    assert found["hood.air.poll"].interval == 100 * MILLISECOND
    assert found["bed.mat.renew"].interval == SECOND
    assert found["bed.mat.readings"].interval == 10 * MILLISECOND
    assert (found["bed.commands"].sender, found["bed.commands"].receiver) == ("tool", "bed")
    assert "bed.mat.poll" not in found
    assert found["hood.sign.readings"].interval == 10 * MILLISECOND  # each change, polled or not


def test_an_interval_that_nothing_says_is_assumed_and_so_is_the_length_of_a_text():
    bus = read(("  readings-every: 10 ms    # no resource changes faster\n", "")).bus

    assert "bed.mat.readings" in bus.assumed
    assert "hood.air.poll" not in bus.assumed
    assert "bed.commands" not in bus.assumed
    assert bus.unsized == ("hood.sign.readings", "hood.sign.poll", "hood.sign.renew")


def test_what_is_derived_can_be_told_otherwise():
    told = "  traffic:\n    hood.sign.poll: {answer: 40, every: 1 s}\n\ndepends:\n"
    rack = read(("\ndepends:\n", told))

    assert traffic(rack)["hood.sign.poll"].answer == 40
    assert "hood.sign.poll" not in rack.bus.unsized


def test_without_confirmable_requests_no_answer_comes_apart():
    found = traffic(read(("      observe: yes  ", "      confirmable: no\n      observe: yes  ")))

    assert "bed.mat.acks" not in found
    assert "hood.air.acks" in found


def test_a_long_representation_goes_block_by_block():
    """RFC 7959 §2.2: a block has at most 1024 octets, here 60 records of one pack do not fit."""
    records = "".join(
        f"      air.extra-{number}:\n        unit: degC\n        range: -20 degC to 60 degC\n"
        f"        coap: {{path: air, format: senml+cbor, record: extra-{number}}}\n"
        for number in range(60)
    )
    bench = PROPAGATOR[: PROPAGATOR.index("\nsoftware:\n")]
    found = traffic(read(("      vent:\n", records + "      vent:\n"), text=bench))

    poll = found["hood.air.poll"]
    blocks = 100 * MILLISECOND / poll.interval
    assert blocks >= 2
    assert 1024 < poll.answer < 1024 + 64  # a block with its header and options


def test_sizes_are_those_of_another_library():
    """aiocoap renders the same messages to as many octets."""
    aiocoap = pytest.importorskip("aiocoap")
    found = traffic(read())

    def octets(**settings):
        message = aiocoap.Message(**settings)
        message.mtype, message.mid, message.token = aiocoap.CON, 1, b"abcd"
        message.remote = None
        return len(message.encode())

    get, put = aiocoap.GET, aiocoap.PUT
    assert found["hood.air.poll"].payload == octets(code=get, uri_path=("air",), accept=112)
    assert found["bed.sensors.soil.renew"].payload == octets(
        code=get, uri_path=("sensors", "soil"), accept=0, observe=0
    )
    longest = b'[{"n":"temperature","u":"Cel","v":-1234567.8901234567}]'
    assert found["hood.commands"].payload == octets(
        code=put, uri_path=("inject", "air"), content_format=110, payload=longest
    )


def test_every_coap_signal_has_its_ways():
    rack = read()
    standing = stand(rack)
    found = ways(rack, standing.bus.segment, standing.budget)

    sensed = [signal for way in found if not way.driven for signal in way.signals]
    assert sorted(sensed) == sorted(
        signal.path for node in rack.nodes for signal in node.signals if signal.sensed
    )
    assert all(way.worst is not None and way.best <= way.worst for way in found)
    polled = next(way for way in found if "hood.air.humidity" in way.signals)
    # GET /air of 14 octets and its answer of 140: frames of 64 and 186, 584 and 1560 bt
    assert (polled.best, polled.round_trip[0]) == (156_000, 214_400)
    observed = next(way for way in found if "bed.soil" in way.signals)
    assert observed.round_trip is None


def test_names_of_resources_never_repeat():
    changed = ("coap: mode", "coap: {path: mat, format: cbor, pointer: /mode}")
    bed = read(changed).nodes[0]

    assert len(set(resource_names(bed))) == len(bed.coap.resources)


def test_group_readings_go_to_everybody():
    rack = read_rack(ROOT / "fixtures" / "annexe.yaml")

    assert traffic(rack)["feedline.readings"].receiver == ""
    assert traffic(rack)["beacon.readings"].receiver == "tool"
    assert route(rack.bus.segment, "feedline", "beacon") == ("feedline.readings",)
    assert route(rack.bus.segment, "beacon", "feedline") is None


def test_a_node_on_a_serial_line_is_not_on_the_bus(tmp_path):
    text = (ROOT / "fixtures" / "doser.yaml").read_text("utf-8")
    bus = "\nbus:\n  node-count: 1\n  participants:\n    tool: {id: 0}\n"
    file = tmp_path / "doser.yaml"
    file.write_text(text + bus, "utf-8")

    segment = read_rack(file).bus.segment
    assert [each.name for each in segment.participants] == ["tool"]
    assert segment.traffic == ()

    file.write_text(text + bus + "    doser: {id: 1}\n", "utf-8")
    with pytest.raises(DescriptionError, match="`doser` is on a serial line of its own"):
        read_rack(file)


@pytest.mark.parametrize("name", ["propagator", "annexe"])
def test_a_run_sends_nothing_larger_and_waits_no_longer_than_was_worked_out(tmp_path, name):
    rack = read_rack(ROOT / "fixtures" / f"{name}.yaml")
    options = Options(
        plans=(str(ROOT / "testplans" / f"{name}.yaml"),),
        bench=str(ROOT / "fixtures" / f"{name}.yaml"),
        virtual=True,
        reports=str(tmp_path),
    )
    finished = run_plans(options, say=lambda text: None)
    assert finished.code == 0

    text = (finished.folder / "journal.jsonl").read_text("utf-8")
    lines = [json.loads(each) for each in text.splitlines()]
    for node in rack.nodes:
        for way in ("in", "out"):
            sizes = [
                len(line["hex"]) // 2
                for line in lines
                if line["event"] == "datagram" and (line["node"], line["way"]) == (node.name, way)
            ]
            assert 0 < max(sizes) <= most(rack, node.name, way)
    seen = next(line for line in lines if line["event"] == "segment")
    bound = stand(rack).budget.access
    for who, handed, *_, longest in seen["shares"]:
        assert 0 < longest <= rack.bus.segment.lasting(bound[who])
        assert handed <= sum(
            -(-seen["elapsed"] // sent.interval) for sent in sent_by(rack.bus.segment, who)
        )


def most(rack, node, way):
    """Return the largest datagram that is declared between the tool and a node, one way."""
    mine = sent_by(rack.bus.segment, node if way == "in" else "tool")
    return max(sent.payload for sent in mine)
