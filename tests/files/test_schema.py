"""The exported JSON Schema and the references: the same keys everywhere, and true of the files."""

import re
from pathlib import Path

import jsonschema
import pytest

from hil.files import (
    ask_shape,
    bench_shape,
    bus_shape,
    coap_shape,
    command_shape,
    console_shape,
    follow_shape,
    measure_shape,
    operator_shape,
    plan_shape,
)
from hil.files.kind import FileKind, kind_of
from hil.files.mistake import Page
from hil.files.read import read_plan, read_plans_with_warnings, read_rack
from hil.files.schema import bench_schema, plan_schema
from hil.files.shape import Either, Many, Names, Record
from hil.files.text import read_text
from hil.files.tree import Map, Scalar, Seq, read_tree

ROOT = Path(__file__).parents[2]
FIXTURES = sorted((ROOT / "fixtures").glob("*.yaml"))
BENCHES = [file for file in FIXTURES if kind_of(file) is FileKind.BENCH]
PLANS = sorted((ROOT / "testplans").glob("*.yaml"))
NUMBER = re.compile(r"[-+]?(\.\d+|\d+(\.\d*)?)([eE][-+]?\d+)?")
INTEGER = re.compile(r"[-+]?\d+")


def core(node):
    """Return the tree as YAML 1.2's core schema types it (chapter 10.3.2), as an editor would."""
    if isinstance(node, Seq):
        return [core(item) for item in node.items]
    if isinstance(node, Map):
        return {key.text: core(value) for key, value in node.pairs.values()}
    assert isinstance(node, Scalar)
    text = node.text
    if not node.plain:
        return text
    if text in ("true", "false"):
        return text == "true"
    if text in ("", "~", "null"):
        return None
    if INTEGER.fullmatch(text):
        return int(text)
    if re.fullmatch("0x[0-9a-fA-F]+", text):
        return int(text, 16)
    return float(text) if NUMBER.fullmatch(text) else text


def load(text):
    page = Page("f.yaml", text.encode())
    assert read_text(page)
    tree = read_tree(page)
    assert page.mistakes == []
    return core(tree)


def errors(schema, document):
    validator = jsonschema.Draft202012Validator(schema)
    return [f"{error.json_path}: {error.message}" for error in validator.iter_errors(document)]


def test_schemas_are_valid_json_schema():
    jsonschema.Draft202012Validator.check_schema(bench_schema())
    jsonschema.Draft202012Validator.check_schema(plan_schema())


@pytest.mark.parametrize("file", BENCHES, ids=lambda file: file.name)
def test_schema_accepts_the_fixtures(file):
    assert errors(bench_schema(), load(file.read_text("utf-8"))) == []


@pytest.mark.parametrize("file", PLANS, ids=lambda file: file.name)
def test_schema_accepts_the_plans(file):
    assert errors(plan_schema(), load(file.read_text("utf-8"))) == []


@pytest.fixture(scope="module")
def glasshouse():
    return read_rack(ROOT / "fixtures" / "glasshouse.yaml")


def test_the_plans_can_be_read(glasshouse):
    plans = read_plans_with_warnings(PLANS, glasshouse, asked=()).plans

    assert sum(len(plan.cases) for plan in plans) >= 60


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("case: the", "cas: the"),
        ("steps:", "stepps:"),
        ("within: 200 ms", "within: 200"),
        ("cases:", "cases: []\nmore:"),
        (", within: 200 ms}", "}"),
        (", within: 200 ms}", ", within: 200 ms, never: 1 s}"),
        (", within: 200 ms}", ", during: 200 ms, hold: 1 s}"),
    ],
)
def test_schema_refuses_what_the_reader_refuses(old, new):
    text = PLANS[0].read_text("utf-8")
    assert old in text

    assert errors(plan_schema(), load(text.replace(old, new, 1)))


# ------------------------------------------------------------------------------ references

BENCH_SECTIONS = {
    "The file": bench_shape.BENCH,
    "Checks": bench_shape.CHECK,
    "Layouts": bench_shape.LAYOUT,
    "Fields": bench_shape.FIELD,
    "Bits": bench_shape.BIT,
    "Examples": bench_shape.EXAMPLE,
    "Nodes": bench_shape.NODE,
    "Requests": bench_shape.REQUESTS,
    "Signals": bench_shape.SIGNAL,
    "Accuracy": bench_shape.ACCURACY,
    "Drive": bench_shape.DRIVE,
    "Software": bench_shape.SOFTWARE,
    "Bus": bus_shape.BUS,
    "Participants": bus_shape.PARTICIPANT,
    "Cable": bus_shape.CABLE,
    "Traffic": bus_shape.TRAFFIC,
    "Noise": bus_shape.NOISE,
    "Relay": bus_shape.RELAY,
    "Disturbances": bus_shape.DISTURBANCE,
    "Commands": command_shape.COMMAND,
    "Operator": operator_shape.OPERATOR,
    "Discovery": bench_shape.DISCOVERY,
    "CoAP": coap_shape.COAP,
    "Resources": coap_shape.FACT,
    "Uptimes": coap_shape.UPTIME,
    "CoAP signals": coap_shape.COAP_SIGNAL,
    "Puts": coap_shape.PUT,
    "Consoles": console_shape.CONSOLE,
    "Adapters": console_shape.USB,
    "Control lines": console_shape.CONTROL_LINES,
    "Who it is": console_shape.IDENTIFY,
    "Asking": console_shape.READ,
    "Console commands": console_shape.COMMAND,
}
PLAN_SECTIONS = {
    "The file": plan_shape.PLAN,
    "A case": plan_shape.CASE,
    "A step": plan_shape.STEP,
    "An expectation": plan_shape.EXPECTATION,
    "Tolerances": plan_shape.LARGER_OF,
    "Relations": measure_shape.RELATION,
    "Follow": follow_shape.FOLLOW,
    "Ramp": follow_shape.RAMP,
    "Sine": follow_shape.SINE,
    "Chirp": follow_shape.CHIRP,
    "Responses": follow_shape.FOLLOWER,
    "Agreement": measure_shape.AGREE,
    "Clock": measure_shape.CLOCK,
    "Latency of trials": measure_shape.LATENCY,
    "Traffic": measure_shape.TRAFFIC,
    "Traffic of trials": measure_shape.TRIAL_TRAFFIC,
    "All at once": plan_shape.TOGETHER,
    "A proof": plan_shape.PROVE,
    "Asking a person": ask_shape.ASK,
}
REFERENCES = [
    (ROOT / "fixtures" / "README.md", title, record) for title, record in BENCH_SECTIONS.items()
] + [(ROOT / "testplans" / "README.md", title, record) for title, record in PLAN_SECTIONS.items()]


def section(file, title):
    text = file.read_text("utf-8")
    assert f"\n## {title}\n" in text
    return text.split(f"\n## {title}\n", 1)[1].split("\n## ", 1)[0]


def documented(text):
    """Return the keys in the first column of tables headed `key`: name to whether it is bold."""
    keys = {}
    heading = ""
    for line in text.splitlines():
        cells = [cell.strip() for cell in line.split("|")]
        if len(cells) < 3:
            heading = ""
        elif not heading:
            heading = cells[1]
        elif heading == "key" and (match := re.fullmatch(r"(\**)`([^`]+)`\1", cells[1])):
            keys[match[2]] = bool(match[1])
    return keys


@pytest.mark.parametrize(
    ("file", "title", "record"),
    REFERENCES,
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_reference_names_every_key_and_no_other(file, title, record):
    declared = {name: key.required for name, key in record.keys.items()}

    assert declared == documented(section(file, title))


def records(shape, found):
    """Collect every record that a shape leads to."""
    if isinstance(shape, Record):
        if not any(shape is other for other in found):
            found.append(shape)
            for key in shape.keys.values():
                records(key.shape, found)
    elif isinstance(shape, Many | Names):
        records(shape.shape, found)
    elif isinstance(shape, Either):
        for choice in shape.shapes:
            records(choice, found)
    return found


def test_every_record_has_its_section():
    # the two that repeat the keys of an expectation have none of their own
    same = (plan_shape.PRECONDITION_ENTRY, plan_shape.EXCLUDED)
    sections = [*BENCH_SECTIONS.values(), *PLAN_SECTIONS.values(), *same]
    reachable = records(plan_shape.PLAN, records(bench_shape.BENCH, []))

    assert all(any(record is known for known in sections) for record in reachable)
    assert set(plan_shape.EXCLUDED.keys) < set(plan_shape.EXPECTATION.keys)


def test_reference_names_every_type_and_meaning():
    text = section(ROOT / "fixtures" / "README.md", "Fields")
    rows = [line.split("|")[1] for line in text.splitlines() if line.startswith("| `")]
    words = {word for row in rows for word in re.findall("`([^`]+)`", row)}

    assert set(bench_shape.FORMS) | set(bench_shape.MEANINGS) <= words
    assert words - set(bench_shape.FIELD.keys) <= {*bench_shape.FORMS, *bench_shape.MEANINGS}


def blocks(file):
    return re.findall(r"```yaml\n(.*?)```", file.read_text("utf-8"), re.DOTALL)


def wrapped(block):
    """Return a whole plan around a piece of one."""
    if block.startswith("plan:"):
        return block
    indented = block.replace("\n", "\n          ").rstrip()
    if block.startswith(("- trials", "- follow", "- prove", "- ask")):
        block = block.replace("../fixtures", str(ROOT / "fixtures"))
        step = block.replace("\n", "\n      ").rstrip()
        return f"plan: P\ncases:\n  - case: c\n    steps:\n      {step}\n"
    if block.startswith("- {"):
        return f"plan: P\ncases:\n  - case: c\n    steps:\n      - expect:\n          {indented}\n"
    assert block.startswith("vary:")
    rest = "\n    ".join(block.rstrip().splitlines())
    step = '{stimulus: {"louvres.${vane}.angle": "${angle}"}, expect: [{signal: beacon.lamp, value: red, within: 1 s}]}'
    return f"plan: P\ncases:\n  - case: c\n    {rest}\n    steps:\n      - {step}\n"


@pytest.mark.parametrize("block", blocks(ROOT / "testplans" / "README.md"))
def test_examples_of_the_plan_reference_are_plans(tmp_path, glasshouse, block):
    file = tmp_path / "plan.yaml"
    file.write_text(wrapped(block), encoding="utf-8")

    assert read_plan(file, glasshouse).cases


@pytest.mark.parametrize("block", blocks(ROOT / "fixtures" / "README.md"))
def test_examples_of_the_bench_reference_stand_in_the_fixtures(block):
    if block.startswith("known-faults:"):
        return  # a file of one's own; hil/files/known_file.py has its tests
    files = (
        "glasshouse.yaml",
        "glasshouse-alarms.yaml",
        "annexe.yaml",
        "propagator.yaml",
        "doser.yaml",
    )
    fixture = "".join(
        "".join((ROOT / "fixtures" / name).read_text("utf-8").split()) for name in files
    )

    for line in block.strip().splitlines():
        assert "".join(line.split()) in fixture
