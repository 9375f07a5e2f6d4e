"""CoAP nodes in bench files: what they become, and every mistake at its place."""

from decimal import Decimal
from pathlib import Path

import pytest

from hil.core.error import DescriptionError
from hil.core.instant import MILLISECOND, SECOND
from hil.files.coap_unit import senml_units
from hil.files.read import read_plan, read_rack
from hil.wire.coap.description import Format, Part, Place, Written

FIXTURES = Path(__file__).parents[2] / "fixtures"

BENCH = """\
bench: small
interface: lo
host: 127.0.0.1
nodes:
  bed:
    number: 1
    address: 127.0.0.1:5683
    serial: PG-1
    answer-within: 1 s
    coap:
      observe: yes
      renew: 2 s
      serial: about/serial
      boots: {path: air, format: senml+cbor, record: boots}
      uptime: {path: life, format: json, pointer: /up~1time, tick: 10 ms}
    signals:
      soil:
        unit: degC
        range: -20 degC to 60 degC
        coap: {path: /sensors/soil?u=c&fast, suffix: C, put: inject/soil}
        drive: {safe: 21 degC}
      temperature:
        unit: degC
        coap: {path: air, format: senml+cbor, record: temperature, binary32: yes}
      lamp:
        labels: {0: off, 1: on}
        coap: {path: lamp, format: json, pointer: /lit, labels-as: boolean, observe: no, poll: 50 ms}
        drive: {safe: off}
      note:
        text: yes
        coap: no%20te
      level:
        unit: "%"
        coap: {path: level, observe: no}
      door:
        labels: {0: shut, 1: open}
        coap: {put: {path: door, format: cbor}}
        drive: {safe: shut}
"""


def rack(tmp_path, text=BENCH):
    file = tmp_path / "bench.yaml"
    file.write_text(text, encoding="utf-8")
    return read_rack(file)


def mistakes(tmp_path, old, new):
    assert old in BENCH
    with pytest.raises(DescriptionError) as refusal:
        rack(tmp_path, BENCH.replace(old, new, 1))
    lines = str(refusal.value).replace(f"{tmp_path}/", "")
    return [line.strip() for line in lines.splitlines()]


def test_resources_are_what_the_file_says(tmp_path):
    (bed,) = rack(tmp_path).nodes
    by_path = {str(resource.place): resource for resource in bed.coap.resources}

    assert set(by_path) == {
        *("/sensors/soil?u=c&fast", "/air", "/lamp", "/no te", "/level"),
        *("/about/serial", "/life"),
    }
    assert by_path["/sensors/soil?u=c&fast"].place == Place(
        path=("sensors", "soil"), query=("u=c", "fast")
    )
    assert by_path["/air"].format is Format.SENML_CBOR
    assert by_path["/air"].observe
    assert list(by_path["/air"].signals) == ["temperature"]
    assert by_path["/air"].facts == {"boots": Part(record="boots")}
    assert by_path["/lamp"].poll == 50 * MILLISECOND
    assert not by_path["/lamp"].observe
    assert by_path["/life"].facts == {"uptime": Part(pointer=("up/time",))}


def test_parts_and_targets_are_what_the_file_says(tmp_path):
    (bed,) = rack(tmp_path).nodes
    parts = {name: part for one in bed.coap.resources for name, part in one.signals.items()}
    targets = bed.coap.targets

    assert parts["soil"] == Part(suffix="C", units=("Cel",))
    assert parts["temperature"] == Part(record="temperature", units=("Cel",), binary32=True)
    assert parts["lamp"] == Part(pointer=("lit",), written=Written.BOOLEAN)
    assert {name: str(target.place) for name, target in targets.items()} == {
        "soil": "/inject/soil",
        "lamp": "/lamp",
        "door": "/door",
    }
    assert targets["lamp"].part == parts["lamp"]
    assert targets["door"].format is Format.CBOR


def test_the_node_is_what_the_file_says(tmp_path):
    (bed,) = rack(tmp_path).nodes
    coap = bed.coap

    assert (coap.renew, coap.tick) == (2 * SECOND, 10 * MILLISECOND)
    assert (coap.confirmable, coap.accept) == (True, True)
    assert (coap.ack_timeout, coap.retransmissions) == (2 * SECOND, 4)  # RFC 7252 §4.8
    assert bed.layouts == ()


def test_how_often_a_signal_is_looked_at_follows_from_how_it_is_read(tmp_path):
    signals = rack(tmp_path).signals()

    assert signals["bed.soil"].sampling is None  # observed: each change
    assert signals["bed.lamp"].sampling == 50 * MILLISECOND  # polled
    assert signals["bed.level"].sampling == 2 * SECOND  # neither: at each renewal
    assert signals["bed.temperature"].binary32
    assert not signals["bed.door"].sensed
    assert signals["bed.door"].drive.safe == "shut"


MISTAKES = [
    (
        "coap: no%20te",
        "nothing: 1",
        ["bench.yaml:31:9: a signal has no key `nothing`", "note lacks the key `coap`"],
    ),
    ("    coap:\n      observe", "    nothing:\n      observe", ["a node needs one of `layouts`"]),
    ("no%20te", "no%2te", ["bench.yaml:31:15: path: `no%2te` is not a path"]),
    ("no%20te", "coap://x/y", ["bench.yaml:31:15: path: `coap://x/y` names a node", "try: sens"]),
    ("no%20te", "a/../b", ["bench.yaml:31:15: path: `a/../b`: a path on a node has no `.` and"]),
    ("no%20te", "x%ff", ["bench.yaml:31:15: path: `x%ff` has a part that is no UTF-8"]),
    ("/up~1time", "up", ["pointer: `up` is not a pointer, which begins with `/`", "try: /up"]),
    ("/up~1time", "/a~b", ["pointer: `/a~b` has a `~` that is neither `~0` nor `~1`"]),
    ("format: json, pointer: /lit", "format: text, pointer: /lit", ["pointer: it leads through"]),
    ("format: json, pointer: /lit", "format: jason", ["format: expected", "try: json"]),
    ("record: temperature, ", "", ["senml+cbor has records, so it needs the key `record`"]),
    ("path: level", "path: level, record: x", ["record: only SenML has records, not text"]),
    ("poll: 50 ms", "poll: 0 ms", ["poll: expected more than 0 s"]),
    ("renew: 2 s", "renew: 0 s", ["bench.yaml:12:14: renew: expected more than 0 s"]),
    ("renew: 2 s", "retransmissions: 99", ["retransmissions: expected 0 to 20"]),
    ("      serial: about/serial\n", "", ["serial: the `coap` of the node says no path"]),
    ("safe: 21 degC", "safe: 21 degC, operation: 2", ["operation: the node has no layouts"]),
    ("put: inject/soil}\n        drive: {safe: 21 degC}", "put: x}", ["put: soil has no `drive`"]),
    ("labels: {0: off, 1: on}", "labels: {1: off, 2: on}", ["labels-as: lamp needs the raw"]),
    ("path: level", "path: level, labels-as: word", ["labels-as: level is a number, this is"]),
    ("format: cbor}}", "format: cbor}, suffix: C}", ["suffix: door is a label, this is for a nu"]),
    ("binary32: yes", "suffix: C", ["suffix: this is for text"]),
    ("suffix: C,", "binary32: yes,", ["binary32: this is for cbor and senml+cbor"]),
    ("path: level, observe", "path: air, format: senml+cbor, record: x, observe", ["observed or polled in another way"]),
    ("put: {path: door, format: cbor}", "put: lamp", []),
    ("put: {path: door, format: cbor}", "put: inject/soil", ["door is driven at /inject/soil, where soil"]),
    ("unit: degC\n        coap: {path: air", "unit: hPa\n        coap: {path: air", ["no unit of SenML means hPa", "try: record-unit: Pa"]),
    ("put: {path: door, format: cbor}", "observe: yes", ["coap of a signal needs one of `path` or `put`", "`observe` goes only with `path`"]),
    ("    coap:\n      observe: yes", "    requests: {read: 1}\n    coap:\n      observe: yes", ["`requests` goes only with `layouts`"]),
    ("    answer-within: 1 s\n", "", ["a node lacks the key `answer-within`"]),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "told"), MISTAKES)
def test_every_mistake_is_told_with_its_place(tmp_path, old, new, told):
    if not told:
        assert rack(tmp_path, BENCH.replace(old, new, 1)).nodes
        return
    found = mistakes(tmp_path, old, new)

    assert all(any(part in line for line in found) for part in told), found
    assert all(line.startswith(("bench.yaml:", "try: ")) or "mistake" in line for line in found)


def test_all_mistakes_are_told_at_once(tmp_path):
    text = (
        BENCH.replace("no%20te", "a/../b")
        .replace("/up~1time", "up")
        .replace("renew: 2", "renew: 0")
    )
    with pytest.raises(DescriptionError) as refusal:
        rack(tmp_path, text)

    assert [mistake.mark.line for mistake in refusal.value.mistakes] == [12, 15, 31]


def test_a_signal_with_coap_belongs_to_a_node_with_coap(tmp_path):
    text = (FIXTURES / "first-node.yaml").read_text(encoding="utf-8")
    with pytest.raises(DescriptionError, match="`coap` goes only with `coap` of feedline itself"):
        rack(tmp_path, text.replace("unit: bar", "unit: bar\n        coap: x"))


def test_a_record_in_another_unit_takes_a_scale(tmp_path):
    text = BENCH.replace(
        "unit: degC\n        coap: {path: air, format: senml+cbor, record: temperature,",
        "unit: hPa\n        scale: 0.01\n        coap: {path: air, format: senml+cbor, record: pressure,"
        " record-unit: Pa,",
    )
    (bed,) = rack(tmp_path, text).nodes
    part = next(
        one.signals["temperature"] for one in bed.coap.resources if "temperature" in one.signals
    )

    assert part.units == ("Pa",)
    assert bed.encodings["temperature"].scale == Decimal("0.01")


# RFC 8428 §12.1, table 8: what the registry calls these units.
@pytest.mark.parametrize(
    ("unit", "names"),
    [
        ("degC", ("Cel",)),
        ("K", ("K",)),
        ("%", ("%", "%RH", "%EL")),
        ("fraction", ("/",)),
        ("lx", ("lx",)),
        ("Pa", ("Pa",)),
        ("hPa", ()),
        ("count", ("count",)),
        ("m/s", ("m/s",)),
    ],
)
def test_a_unit_has_its_senml_names(unit, names):
    assert senml_units(unit) == names


PLAN = """\
plan: P
cases:
  - case: c
    steps:
      - stimulus: {bed.soil: 20.123456 degC}
        expect:
          - @
"""


def test_any_number_can_be_put_and_traffic_is_not_counted(tmp_path):
    bench = rack(tmp_path)

    def told(expectation):
        file = tmp_path / "plan.yaml"
        file.write_text(PLAN.replace("@", expectation))
        try:
            read_plan(file, bench)
        except DescriptionError as refusal:
            return str(refusal)
        return ""

    assert told("{signal: bed.soil, value: 20.123456 degC, within: 1 s}") == ""
    assert "the readings of bed carry no `sequence`" in told(
        "{traffic: bed, during: 1 s, loss: 1 %}"
    )
    assert "clock: bed has no layout of a reading that carries an `uptime`" in told(
        "{clock: bed, during: 1 s, offset: 1 s}"
    )
