"""Files of known faults: what they mean, and every mistake at once."""

import re
from pathlib import Path

import jsonschema
import pytest

from hil.core.error import DescriptionError
from hil.files.kind import FileKind, kind_of
from hil.files.known_shape import FAULT
from hil.files.read import read_known, read_rack
from hil.files.schema import known_schema

ROOT = Path(__file__).parents[2]

FILE = """\
known-faults: Glasshouse, this winter
faults:
  - fault: the mast reads too warm
    reason: the old sensor board; new ones come in spring
    reference: K-17
    plan: Weather
    case: the mast shows the air's temperature [20 degC]
    signal: mast.temperature
    step: 1
    value: 294.65 K to 22.5 degC
    until: 2027-03-01
  - fault: the lamp is amber for a moment
    reason: an order of messages
    reference: K-18
    plan: Feed pressure
    case: over-pressure
    signal: beacon.lamp
    one-of: [amber, off]
    time: 150 ms to 1 s
    until: 2027-03-01
  - fault: a vane settles late
    reason: a worn gear
    reference: K-19
    plan: Measures
    case: a vane settles
    signal: louvres.vane-1.position
    measure: settle
    value: 300 ms to 350 ms
    until: 2027-03-01
"""


@pytest.fixture(scope="module")
def rack():
    return read_rack(ROOT / "fixtures" / "glasshouse.yaml")


@pytest.fixture
def read(tmp_path, rack):
    def go(text):
        path = tmp_path / "known.yaml"
        path.write_text(text, encoding="utf-8")
        return read_known(path, rack)

    return go


def test_a_file_says_what_is_known(read, tmp_path):
    warm, lamp, late = read(FILE)

    assert (warm.reference, warm.step, warm.until) == ("K-17", 1, "2027-03-01")
    assert (float(warm.low), float(warm.high), warm.unit) == (21.5, 22.5, "degC")
    assert (lamp.values, lamp.earliest, lamp.latest) == (("amber", "off"), 150_000_000, 10**9)
    assert (late.measure, late.low, late.high, late.unit) == (
        "settle",
        "300000000",
        "350000000",
        "ns",
    )
    assert warm.place == f"{tmp_path / 'known.yaml'}:3:5"
    assert kind_of(tmp_path / "known.yaml") is FileKind.KNOWN


def mistakes(read, text):
    with pytest.raises(DescriptionError) as refused:
        read(text)
    return [str(mistake).split(":", 1)[1] for mistake in refused.value.mistakes]


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        ("until: 2027-03-01", "until: 1.3.2027", "is not a day such as `2027-03-01`"),
        ("until: 2027-03-01", "until: 20270301", "is not written as year-month-day"),
        ("until: 2027-03-01", "", "lacks the key `until`"),
        ("reference: K-17", "", "lacks the key `reference`"),
        ("mast.temperature", "mast.temprature", "there is no signal `mast.temprature`"),
        ("value: 294.65 K to 22.5 degC", "value: 2 bar", "does not fit a signal in"),
        ("value: 294.65 K to 22.5 degC", "value: 22 degC to 21 degC", "runs backwards"),
        ("value: 294.65 K to 22.5 degC", "", "needs a `value`, a `one-of` or a `time`"),
        ("value: 294.65 K to 22.5 degC", "one-of: [21 degC]", "expected a range under `value`"),
        ("[amber, off]", "[ambre]", "beacon.lamp has no label `ambre`"),
        ("time: 150 ms to 1 s", "time: 150 ms", "is not a range"),
        ("time: 150 ms to 1 s", "time: 2 s to 1 s", "runs backwards"),
        ("value: 300 ms to 350 ms", "value: 300 ms to 5 %", "has two units"),
        ("fault: a vane settles late", "fault: the mast reads too warm", "two faults"),
        ("step: 1", "stepp: 1", "has no key `stepp`"),
    ],
)
def test_a_mistake_is_told_with_its_place(read, before, after, told):
    (found,) = mistakes(read, FILE.replace(before, after, 1))

    assert told in found
    assert re.match(r"\d+:\d+: ", found)


def test_every_mistake_is_told_at_once(read):
    text = FILE.replace("until: 2027-03-01", "until: soon").replace("beacon.lamp", "beacon.lmp")

    assert len(mistakes(read, text)) == 4


def test_the_reference_names_every_key():
    text = (ROOT / "fixtures" / "README.md").read_text(encoding="utf-8")
    table = text.split("\n## Known faults\n")[1].split("\n## ")[0]
    rows = re.findall(r"^\| (\**)`([\w-]+)`\1 \|", table, re.MULTILINE)

    assert {name: key.required for name, key in FAULT.keys.items()} == {
        name: bool(bold) for bold, name in rows
    }


def test_the_schema_takes_the_example_and_refuses_a_slip():
    schema = known_schema()
    entry = {name: "text" for name, key in FAULT.keys.items() if key.required}
    good = {"known-faults": "x", "faults": [entry | {"value": "amber"}]}
    slip = {"known-faults": "x", "faults": [entry | {"valeu": "amber"}]}

    assert list(jsonschema.Draft202012Validator(schema).iter_errors(good)) == []
    assert list(jsonschema.Draft202012Validator(schema).iter_errors(slip))


def test_the_example_in_the_reference_can_be_read(read):
    text = (ROOT / "fixtures" / "README.md").read_text(encoding="utf-8")
    example = re.search(r"```yaml\n(known-faults:.*?)```", text, re.DOTALL)

    assert len(read(example[1])) >= 1
