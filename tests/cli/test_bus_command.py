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
    # two smallest frames and their gaps, 680 bt each, every 100,000 bt
    assert "console.to-louvres 11 10 ms 12 1.4 %" in lines
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
    assert "try: bus: {node-count: 2, participants: {tool: {id: 0}" in ended.output


def test_a_segment_that_cannot_work_is_shown_and_is_exit_code_two(hil):
    ended = hil("bus", "--bench", "wrong.yaml")

    assert ended.exit_code == 2
    assert "louvres and console have the same PLCA id 4" in ended.output


def test_without_plca_nobody_has_a_turn_and_there_is_no_picture(hil, tmp_path):
    text = (tmp_path / "fixtures" / "glasshouse.yaml").read_text("utf-8")
    (tmp_path / "off.yaml").write_text(text.replace("  node-count: 11 ", "  plca: no #"))
    ended = hil("bus", "--bench", "off.yaml", "--svg", "cycle.svg")

    assert ended.exit_code == 0
    assert "all contend for the line (CSMA/CD)" in ended.output
    assert "its turn" not in ended.output
    assert "PLCA is off" in ended.output
    assert not (tmp_path / "cycle.svg").exists()


@pytest.mark.parametrize(("nodes", "code"), [(254, 0), (255, 2)])
def test_a_full_segment_is_worked_out_and_one_node_more_refused(hil, tmp_path, nodes, code):
    """255 turns are all there are: 30.16.1.1.3 and .4 of IEEE 802.3cg-2019, as ethtool(8) has them."""
    text = (tmp_path / "fixtures" / "glasshouse.yaml").read_text("utf-8")
    others = "".join(
        f"    far-{each}: {{id: {each}, other: yes}}\n" for each in range(11, nodes + 1)
    )
    text = text.replace("    console: {id: 10}\n", f"    console: {{id: 10}}\n{others}")
    text = text.replace("node-count: 11 ", f"node-count: {nodes + 1} ")
    (tmp_path / "full.yaml").write_text(text)
    ended = hil("bus", "--bench", "full.yaml", "--svg", "cycle.svg")

    assert ended.exit_code == code, ended.output
    assert ("far-255 has PLCA id 255, which switches PLCA off" in ended.output) is (code == 2)
    lines = [" ".join(line.split()) for line in ended.output.splitlines()]
    assert ("empty 818 µs nobody sends" in lines) is (code == 0)  # 255 turns: 8180 bt
    checked = hil("check", "plan.yaml", "--bench", "full.yaml")
    assert checked.exit_code == code
    assert "Traceback" not in ended.output + checked.output


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


@pytest.mark.parametrize("word", ["check", "run"])
@pytest.mark.parametrize(
    ("script", "told"),
    [
        ("rate: 0 bit/s", "rate: expected 8 bit/s to 1 Gbit/s"),
        ("rate: -5 Mbit/s", "rate: expected 8 bit/s to 1 Gbit/s"),
        ("loss: 120 %", "loss: a part of all datagrams lies from 0 % to 100 %"),
        ("reorder: 5 %, held: -1 ms", "held"),
        ("delay: 1e400 s", "delay"),
    ],
)
def test_an_impossible_relay_script_is_exit_code_two(hil, tmp_path, word, script, told):
    text = (tmp_path / "fixtures" / "glasshouse.yaml").read_text("utf-8")
    relay = f"\nrelay: {{script: [{{{script}}}]}}\n\nsoftware:\n"
    (tmp_path / "relay.yaml").write_text(text.replace("\nsoftware:\n", relay))
    ended = hil(word, "plan.yaml", "--bench", "relay.yaml")

    assert ended.exit_code == 2
    assert told in ended.output
    assert "Traceback" not in ended.output


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
