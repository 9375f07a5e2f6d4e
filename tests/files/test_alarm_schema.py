"""The schema and the reference of alarm specs: the same keys, and true of the files."""

from pathlib import Path

import jsonschema
import pytest
from files.test_schema import core, documented, errors, records, section

from hil.alarms.finding import CODES
from hil.files import alarm_shape as shape
from hil.files import alarm_show_shape as show
from hil.files.kind import FileKind, kind_of
from hil.files.mistake import Page
from hil.files.schema import alarms_schema
from hil.files.text import read_text
from hil.files.tree import read_tree

ROOT = Path(__file__).parents[2]
FILES = sorted(
    file for file in (ROOT / "fixtures").glob("*.yaml") if kind_of(file) is FileKind.ALARMS
)
REFERENCE = ROOT / "fixtures" / "README.md"
SECTIONS = {
    "The alarm spec file": shape.ALARMS,
    "Colours": shape.PAINT,
    "A spec": shape.SPEC,
    "Bands": shape.BAND,
    "Delays": shape.DELAY,
    "Displays": shape.DISPLAY,
    "No reading": shape.NO_READING,
    "Start-up": shape.START_UP,
    "Acknowledging": shape.ACKNOWLEDGE,
    "Indicators": show.INDICATOR,
    "Readings": show.READING,
    "How exactly": shape.TOLERANCE,
    "Provoking": shape.PROVOKE,
    "Driven by": shape.DRIVEN_BY,
    "Accepted findings": shape.ACCEPTED,
}


def load(text):
    page = Page("f.yaml", text.encode())
    assert read_text(page)
    tree = read_tree(page)
    assert page.mistakes == []
    return core(tree)


def test_schema_is_valid_json_schema():
    jsonschema.Draft202012Validator.check_schema(alarms_schema())


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_schema_accepts_the_specs(file):
    assert errors(alarms_schema(), load(file.read_text("utf-8"))) == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("dead-band: 0.15 bar", "dead-band: 0.15 bar, clears-below: 3.45 bar"),
        ("at-or-above: 3.60 bar", "at-or-above: 3.60 bar, above: 3.60 bar"),
        ("decides: measured", "decides: shown"),
        ("normal: normal\n", "normal: normal\n    nomral: normal\n"),
        ("counted: unbroken", "counted: somehow"),
        ("reading: as displayed", "reading: as displayed, labels: by colour"),
    ],
)
def test_schema_refuses_what_the_reader_refuses(old, new):
    text = (ROOT / "fixtures" / "glasshouse-alarms.yaml").read_text("utf-8")
    assert old in text

    assert errors(alarms_schema(), load(text.replace(old, new, 1))) != []


@pytest.mark.parametrize("title", SECTIONS)
def test_reference_names_every_key_and_no_other(title):
    declared = {name: key.required for name, key in SECTIONS[title].keys.items()}

    assert declared == documented(section(REFERENCE, title))


def test_every_record_has_its_section():
    found = records(shape.ALARMS, [])

    assert all(any(record is known for known in SECTIONS.values()) for record in found)
    assert len(found) == len(SECTIONS)


def test_codes_have_the_form_the_schema_wants():
    validator = jsonschema.Draft202012Validator(shape.CODE.schema())

    assert all(validator.is_valid(code) for code in CODES)
