"""reports/README.md says what the code does: every event, key, verdict and exit code, and no other."""

import re
from dataclasses import fields
from pathlib import Path

import pytest

from hil.core.event import KINDS
from hil.core.verdict import Outcome
from hil.report.about import About
from hil.report.exit_code import TABLE
from hil.report.junit import CHILD

TEXT = (Path(__file__).parents[2] / "reports" / "README.md").read_text(encoding="utf-8")


def rows(heading):
    """Return the cells of the table under a heading, without its head."""
    section = TEXT.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    lines = [line for line in section.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


def words(cell):
    return re.findall(r"`([^`]+)`", cell)


def test_every_event_is_in_the_table_in_order():
    assert list(KINDS) == [words(row[0])[0] for row in rows("journal.jsonl")]


@pytest.mark.parametrize("kind", KINDS)
def test_every_key_of_an_event_is_in_the_table(kind):
    row = next(row for row in rows("journal.jsonl") if words(row[0]) == [kind])

    assert [f.name for f in fields(KINDS[kind]) if f.name != "at"] == words(row[2])


def test_every_key_of_about_is_in_the_table():
    assert [field.name for field in fields(About)] == [
        words(row[0])[0] for row in rows("about.json")
    ]


def test_every_verdict_is_in_the_table_with_its_junit_element():
    shown = {words(row[0])[0]: (words(row[3]) or [None])[0] for row in rows("Verdicts")}

    assert {outcome.word: CHILD.get(outcome) for outcome in Outcome} == shown


def test_the_exit_codes_are_those_of_the_code():
    assert [[row.shown, row.meaning, row.fault] for row in TABLE] == rows("Exit codes")
