"""`hil bus` and what `hil check` and `hil run` make of it, in process."""

import json
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner

from hil.cli.main import main

PLAN = """\
plan: A first look
cases:
  - case: over-pressure turns the stack light red
    steps:
      - stimulus: {feedline.pressure: 9.0 bar}
        expect: [{signal: beacon.lamp, value: red, within: 500 ms}]
"""
HURRY = PLAN.replace("500 ms", "90 us")


@pytest.fixture
def hil(tmp_path, request, monkeypatch):
    text = (request.config.rootpath / "fixtures" / "glasshouse.yaml").read_text("utf-8")
    (tmp_path / "fixtures").mkdir()
    (tmp_path / "fixtures" / "glasshouse.yaml").write_text(text, "utf-8")
    (tmp_path / "wrong.yaml").write_text(text.replace("console: {id: 10}", "console: {id: 4}"))
    (tmp_path / "plain.yaml").write_text(text[: text.index("bus:\n")])
    (tmp_path / "plan.yaml").write_text(PLAN)
    (tmp_path / "hurry.yaml").write_text(HURRY)
    monkeypatch.chdir(tmp_path)
    return lambda *words: CliRunner().invoke(main, words)


def test_the_table_tells_turns_cycle_signals_and_deadlines(hil):
    ended = hil("bus", "plan.yaml")

    assert ended.exit_code == 0
    lines = [" ".join(line.split()) for line in ended.output.splitlines()]
    # 11 turns of 32 bt and a beacon of 20 bt (INET showcase tenbaset1s) are 372 bt
    assert "empty 37.2 µs nobody sends" in lines
    assert "0 tool 0 32 bt 0 69 octets 72 µs 900.4 µs" in lines
    assert any(line.startswith("feedline pressure, fault, power reading") for line in lines)
    assert "1 deadline in 1 plan: 1 comfortable, 0 tight, 0 impossible" in lines


def test_the_picture_is_written(hil, tmp_path):
    ended = hil("bus", "--svg", "cycle.svg")

    assert ended.exit_code == 0
    assert ElementTree.parse(tmp_path / "cycle.svg").getroot().tag.endswith("svg")


def test_a_picture_that_cannot_be_written_is_exit_code_five(hil):
    assert hil("bus", "--svg", "nowhere/cycle.svg").exit_code == 5


def test_a_bench_without_a_bus_is_exit_code_two(hil):
    ended = hil("bus", "--bench", "plain.yaml")

    assert ended.exit_code == 2
    assert "plain.yaml: the file describes no `bus`" in ended.output


def test_a_segment_that_cannot_work_is_shown_and_is_exit_code_two(hil):
    ended = hil("bus", "--bench", "wrong.yaml")

    assert ended.exit_code == 2
    assert "louvres and console have the same PLCA id 4" in ended.output


@pytest.mark.parametrize("words", [("check", "hurry.yaml"), ("run", "hurry.yaml", "--virtual")])
def test_an_impossible_deadline_is_refused_at_its_place(hil, words):
    ended = hil(*words)

    assert ended.exit_code == 2
    assert "hurry.yaml:6:18: beacon.lamp: impossible on this segment" in ended.output
    assert "1 mistake, nothing ran" in ended.output


@pytest.mark.parametrize("words", [("check", "plan.yaml"), ("run", "plan.yaml", "--virtual")])
def test_a_segment_that_cannot_work_is_refused(hil, words):
    ended = hil(*words, "--bench", "wrong.yaml")

    assert ended.exit_code == 2
    assert "(id-repeated)" in ended.output


def test_a_virtual_run_tells_what_its_segment_carried(hil, tmp_path):
    assert hil("run", "plan.yaml", "--virtual").exit_code == 0

    text = (tmp_path / "reports" / "latest" / "journal.jsonl").read_text("utf-8")
    *_, seen, last = [json.loads(line) for line in text.splitlines()]
    assert (seen["event"], last["event"]) == ("segment", "run-ended")
    assert 0 < seen["busy"] < seen["elapsed"]
    assert seen["frames"] == sum(share[1] for share in seen["shares"])
    assert {share[0]: share[3] for share in seen["shares"]}.items() >= {("tool", 0), ("mast", 0)}
    # no access delay exceeds what `hil bus` says: 900.4 µs
    assert 0 < max(share[9] for share in seen["shares"]) <= 900_400
