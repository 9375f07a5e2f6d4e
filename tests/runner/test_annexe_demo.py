"""The annexe in virtual time: a group, a poll, a listener, and announces, through the whole runner."""

import json
from collections import Counter
from pathlib import Path

from hil.runner.options import Options
from hil.runner.run import run_plans

ROOT = Path(__file__).parents[2]


def test_the_annexe_passes_and_every_node_is_made_sure_of(tmp_path):
    options = Options(
        plans=(str(ROOT / "testplans" / "annexe.yaml"),),
        bench=str(ROOT / "fixtures" / "annexe.yaml"),
        virtual=True,
        reports=str(tmp_path),
    )
    finished = run_plans(options, say=lambda text: None)
    journal = (finished.folder / "journal.jsonl").read_text().splitlines()
    lines = [json.loads(line) for line in journal]
    warm = [each["node"] for each in lines if each.get("why") == "warm-up"]
    began = next(each["at"] for each in lines if each["event"] == "case-started")
    told = Counter(each["node"] for each in lines if each.get("way") == "in")
    odd = {each["trouble"] for each in lines if each["event"] == "node-note"}

    assert (finished.code, finished.faults, finished.crash) == (0, (), "")
    assert {name for name in told if ":" in name} == {"239.255.20.20:47920"}
    assert told["239.255.20.20:47920"] < 10 < told["feedline"]  # announces, no reading
    assert sorted(warm) == ["beacon", "circulator", "feedline"]
    assert began >= 300_000_000  # announces are listened to for one round before anything moves
    assert odd == {"reboot"}  # the one that the plan asks for
