"""What the journal is told before anything moves: the bench file, and who is on the rack."""

import json
from pathlib import Path

import pytest

from hil.core.event import NodeNoted, RunEnded
from hil.core.instant import Duration, Instant
from hil.core.observation import Confirmed
from hil.files.read import read_rack, read_rack_text
from hil.runner.identity import bench_file, introduced
from hil.runner.losses import noting_losses
from hil.runner.options import Options
from hil.runner.run import run_plans

ROOT = Path(__file__).parents[2]
BENCH = ROOT / "fixtures" / "glasshouse.yaml"
PLAN = """\
plan: One
cases:
  - case: the pressure is reported
    steps:
      - stimulus: {feedline.pressure: 3.0 bar}
        expect: [{signal: feedline.pressure, value: 3.0 bar, tolerance: 0.1 bar, within: 300 ms}]
"""


def events(tmp_path, plan=PLAN, bench=BENCH):
    (tmp_path / "plan.yaml").write_text(plan)
    options = Options(
        plans=(str(tmp_path / "plan.yaml"),),
        bench=str(bench),
        virtual=True,
        reports=str(tmp_path / "reports"),
    )
    finished = run_plans(options, say=lambda text: None)
    lines = (finished.folder / "journal.jsonl").read_text(encoding="utf-8").splitlines()
    return finished, [json.loads(line) for line in lines]


def test_a_run_tells_its_bench_file_and_every_node_before_the_first_case(tmp_path):
    finished, told = events(tmp_path)
    before = told[: [one["event"] for one in told].index("case-started")]
    (bench,) = [one for one in before if one["event"] == "bench-file"]
    nodes = [one for one in before if one["event"] == "node-identified"]

    assert bench["text"] == BENCH.read_text(encoding="utf-8")
    assert bench["digest"] == finished.result.started.bench_digest
    assert len(nodes) == 10
    assert {"node": "feedline", "serial": "GH-0101", "firmware": "1.4.2", "boots": 1}.items() <= (
        nodes[0].items()
    )


@pytest.mark.parametrize(
    ("bench", "stimulus", "identities"),
    [
        ("doser", "doser.tank: 50 %", [("doser", "DS-0201", "2.3.0", 2)]),
        (
            "propagator",
            "bed.mode: automatic",
            [("bed", "PG-0101", "1.2.0", 1), ("hood", "PG-0102", "1.2.0", 1)],
        ),
    ],
)
def test_nodes_without_datagrams_tell_who_they_are_in_the_first_exchange(
    tmp_path, bench, stimulus, identities
):
    signal, _, value = stimulus.partition(": ")
    expect = f"{{signal: {signal}, value: {value}, within: 2 s}}"
    step = f"{{stimulus: {{{stimulus}}}, expect: [{expect}]}}"
    plan = f"plan: One\ncases: [{{case: a, steps: [{step}]}}]\n"
    _, told = events(tmp_path, plan, ROOT / "fixtures" / f"{bench}.yaml")
    before = told[: [one["event"] for one in told].index("case-started")]
    nodes = [one for one in before if one["event"] == "node-identified"]

    assert identities == [
        (one["node"], one["serial"], one["firmware"], one["boots"]) for one in nodes
    ]


@pytest.mark.parametrize(("boots", "told"), [("12", 12), ("9" * 18, 10**18 - 1), ("9" * 19, None)])
def test_a_boot_count_that_no_journal_holds_is_none(boots, told):
    rack = read_rack(ROOT / "fixtures" / "doser.yaml")
    facts = (("boots", boots),)
    seen = Confirmed(node="doser", at=Instant(1), facts=facts, asked=1, took=Duration(1))

    assert [each.boots for each in introduced(rack.nodes, seen, Instant(1))] == [told]


def test_a_check_tells_when_it_was_stimulated_and_what_was_wanted_in_numbers(tmp_path):
    _, told = events(tmp_path)
    (check,) = [one for one in told if one["event"] == "check"]
    sent = [one for one in told if one["event"] == "command" and one["state"] == "sent"]

    assert check["stimulus"] == sent[0]["at"]
    assert check["limits"] == ["between", "2.9", "3.1", "3.0"]
    assert check["timing"] == [["within", 300_000_000]]


def test_a_run_leaves_the_page_for_people(tmp_path):
    finished, _ = events(tmp_path)

    assert "READY" in (finished.folder / "report.html").read_text(encoding="utf-8")
    assert (finished.folder / "report.css").exists()


def test_a_bench_file_that_has_changed_since_then_is_not_told(tmp_path):
    file = tmp_path / "bench.yaml"
    file.write_bytes(BENCH.read_bytes())
    rack = read_rack(file)
    file.write_bytes(BENCH.read_bytes() + b"# changed\n")

    assert bench_file(rack) is None
    file.unlink()
    assert bench_file(rack) is None


def test_the_text_of_a_bench_file_is_read_as_the_file_is():
    text = BENCH.read_text(encoding="utf-8")

    assert read_rack(BENCH) == read_rack_text(text, str(BENCH))


class Links:
    """Nodes of which readings were lost."""

    def lost(self, node):
        return {"mast": 3}.get(node, 0)


def test_lost_readings_are_noted_before_the_last_line():
    told = []
    record = noting_losses(told.append, told.append, Links(), ["feedline", "mast"])
    end = RunEnded(at=Instant(9), outcome="pass", counts={}, aborted="", safe=True)
    record(end)

    note, last = told
    assert isinstance(note, NodeNoted)
    assert (note.node, note.trouble) == ("mast", "lost")
    assert note.text == "3 readings never came, by their sequence numbers"
    assert last is end
