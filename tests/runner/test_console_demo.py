"""The doser in virtual time, and a console that is only listened to beside datagrams."""

import re
from pathlib import Path

import pytest

from hil.report.line import text_of
from hil.report.summary import summarise
from hil.runner.options import Options
from hil.runner.run import run_plans

ROOT = Path(__file__).parent.parent.parent
DOSER = ROOT / "fixtures" / "doser.yaml"
PLAN = ROOT / "testplans" / "doser.yaml"


def run(bench, plan, folder):
    options = Options(
        plans=(str(plan),), bench=str(bench), virtual=True, reports=str(folder / "reports")
    )
    return run_plans(options, say=lambda text: None)


def failed(finished):
    return {case.title for case in finished.result.cases if case.outcome.word != "pass"}


def test_the_doser_passes_and_its_console_is_kept(tmp_path):
    finished = run(DOSER, PLAN, tmp_path)
    log = (finished.folder / "console-doser.log").read_text(encoding="utf-8")

    assert finished.code == 0
    assert failed(finished) == set()
    assert "   boot 2: doser 2.3.0 ready\n" in log
    assert re.search(r" > set rate 125\n +\d+\.\d+   set rate 125\n +\d+\.\d+   ok rate=125\n", log)
    assert "set power restart" in log
    journal = (finished.folder / "journal.jsonl").read_text(encoding="utf-8")
    assert '"event":"datagram"' not in journal
    assert log.count("\n") == journal.count('"event":"console-line"')


def test_two_runs_of_the_doser_are_the_same_octet_for_octet(tmp_path):
    journals = {
        (run(DOSER, PLAN, tmp_path / name).folder / "journal.jsonl").read_bytes() for name in "ab"
    }

    assert len(journals) == 1


@pytest.mark.parametrize(
    ("setting", "title"),
    [
        ("tank-dry: 4.0 %", "an empty tank stops the pump"),
        ("pump-lag: 900 ms", "it doses what it is told [12.5 mL/min]"),
    ],
)
def test_a_doser_that_does_otherwise_is_noticed(tmp_path, setting, title):
    key = setting.partition(":")[0]
    text = re.sub(rf"    {key}: .*", f"    {setting}", DOSER.read_text(encoding="utf-8"))
    bench = tmp_path / "doser.yaml"
    bench.write_text(text, encoding="utf-8")

    assert title in failed(run(bench, PLAN, tmp_path))


def test_a_doser_with_another_serial_number_is_not_commanded(tmp_path):
    text = DOSER.read_text(encoding="utf-8").replace('firmware: ">= 2.1"', 'firmware: ">= 2.4"')
    bench = tmp_path / "doser.yaml"
    bench.write_text(text, encoding="utf-8")
    finished = run(bench, PLAN, tmp_path)
    log = (finished.folder / "console-doser.log").read_text(encoding="utf-8")

    assert finished.code == 3
    assert "firmware is 2.3.0, wanted >= 2.4" in finished.result.ended.aborted
    assert "> set" not in log


LISTENED = """\
    console:
      device: /dev/serial/by-path/beacon
      rate: 115200
      boot: 'boot \\d+: .*'
    signals:
"""
CASE = """\
plan: Beside datagrams
cases:
  - case: the lamp is blue
    steps:
      - stimulus: {beacon.lamp: red}
        expect: [{signal: beacon.lamp, value: green, within: 300 ms}]
  - case: a restart is planned
    reboots: [beacon]
    steps:
      - stimulus: {beacon.power: restart}
        expect: [{signal: beacon.lamp, value: amber, within: 1 s}]
"""


def test_a_failed_case_of_a_node_with_datagrams_shows_its_console_too(tmp_path):
    text = (ROOT / "fixtures" / "glasshouse.yaml").read_text(encoding="utf-8")
    before, beacon = re.split(r"^  beacon: .*\n", text, maxsplit=1, flags=re.MULTILINE)
    assert "    signals:\n" in beacon
    bench, plan = tmp_path / "bench.yaml", tmp_path / "plan.yaml"
    beacon = beacon.replace("    signals:\n", LISTENED, 1)
    bench.write_text(f"{before}  beacon:\n{beacon}", encoding="utf-8")
    plan.write_text(CASE, encoding="utf-8")
    finished = run(bench, plan, tmp_path)
    told = "\n".join(text_of(line) for line in summarise(finished.result))

    assert finished.code == 1
    assert re.search(
        r"console of beacon, .*:\n +0\.\d{3} s  \[ *\d+\.\d{3}\] lamp: \w+ to red", told
    )
    assert "boot 2: beacon" in told
    assert "doser" not in told
