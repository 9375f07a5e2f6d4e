"""One million results in a SQLite history: adding a run of 10,000 checks, and asking for trends.

The run that is added is a journal on disk, read, understood and written.  The hundred runs before
it are copies of its rows with other figures, made by the database itself.
"""

import random
import sqlite3
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from benchmarks.measure import Figure, show_time
from report.runs import ABOUT, begun, check, ended, over, started

from hil.core.event import Event, render
from hil.history.changed import changes
from hil.history.keep import keep_run
from hil.history.place import place_of
from hil.history.runs import find_run, newest
from hil.history.series import Of, Wanted, find_series
from hil.history.shelf import Shelf
from hil.report.about import write_about

CASES, CHECKS, RUNS = 2_000, 5, 100
ADDING, ASKING = 1.0, 0.2
"""Seconds that are allowed."""

COPIES = """
INSERT INTO runs SELECT :run, 'key-' || :run, :name, :started, host, bench, virtual, bench_file,
    bench_digest, tool, interface, stamps, ended, aborted, safe, outcome, cases, passed, known,
    failed, unclear, left_out FROM runs WHERE id = 1;
INSERT INTO case_results SELECT :run, case_id, outcome, attempts, took, reason, place
    FROM case_results WHERE run = 1;
INSERT INTO nodes SELECT :run, node, serial, firmware, boots, checks, failed, margin, closest
    FROM nodes WHERE run = 1;
INSERT INTO plans SELECT :run, title, digest FROM plans WHERE run = 1;
INSERT INTO results SELECT :run, check_id, attempt, ask_id, outcome, got,
    value + (random() % 1000) / 1000.0, margin + (random() % 1000) / 20000.0 - :run / 1000.0,
    latency + random() % 1000000 FROM results WHERE run = 1;
"""


def journal(seed: int) -> list[Event]:
    """Return the events of a run of 10,000 checks on 20 nodes."""
    draw = random.Random(seed)
    titles = [f"vane {number} reaches its angle" for number in range(CASES)]
    events: list[Event] = [started(*titles)]
    for index, title in enumerate(titles):
        events.append(begun(index, title))
        node = f"node-{index % 20}"
        for number in range(CHECKS):
            took = int(draw.gauss(60e6, 2e6))
            events.append(
                check(
                    index,
                    "pass",
                    step=1 + number,
                    node=node,
                    signal=f"{node}.signal-{index}",
                    got=f"{draw.gauss(45, 0.1):.2f} deg",
                    elapsed=took,
                    change=(took - 1000, took),
                    margin=round(draw.gauss(0.5, 0.02), 6),
                    text=f"{title}, step {1 + number}: all is well",
                )
            )
        events.append(ended(index, title, "pass"))
    return [*events, *over()]


def write_run(reports: Path, number: int) -> Path:
    """Write journal and about.json of the run of a day; return its folder."""
    day = f"{2026 + number // 336}-{number // 28 % 12 + 1:02d}-{number % 28 + 1:02d}"
    folder = reports / f"{day.replace('-', '')}T010000Z-glasshouse"
    folder.mkdir(parents=True)
    lines = "".join(f"{render(event)}\n" for event in journal(number))
    (folder / "journal.jsonl").write_text(lines, encoding="utf-8")
    about = replace(ABOUT, run=folder.name, started=f"{day}T01:00:00Z")
    write_about(folder, about)
    return folder


def fill(file: Path, runs: int) -> None:
    """Copy the first run of a history so often, each a day later and a little different."""
    connection = sqlite3.connect(file)
    for run in range(2, runs + 1):
        day = f"2026-{run // 28 + 1:02d}-{run % 28 + 1:02d}"
        facts = {"run": run, "name": f"run-{run}", "started": f"{day}T01:00:00Z"}
        for statement in COPIES.split(";")[:-1]:
            connection.execute(statement, facts)
        connection.commit()
    connection.execute("ANALYZE")
    connection.commit()
    connection.close()


def figures() -> list[Figure]:
    with tempfile.TemporaryDirectory() as name:
        reports = Path(name)
        place = place_of(str(reports / "history.sqlite"))
        assert place.file is not None
        keep_run(place, write_run(reports, 0))
        fill(place.file, RUNS)
        nights = [write_run(reports, number) for number in (150, 151, 152)]
        adding = min(_timed(lambda folder=folder: keep_run(place, folder)) for folder in nights)
        asked = _asking(place_of(str(place.file)))
    shown = [
        Figure(
            what="adding a run of 10,000 checks to a million results",
            value=show_time(adding),
            floor="1 s",
            ratio=adding / ADDING,
            limit=1.0,
        )
    ]
    for what, took in asked.items():
        allowed, word = (ASKING, "200 ms") if what.startswith("trend") else (ADDING, "1 s")
        shown.append(
            Figure(what=what, value=show_time(took), floor=word, ratio=took / allowed, limit=1.0)
        )
    return shown


def _asking(place) -> dict[str, float]:
    shelf = Shelf(place)
    with shelf.reading() as connection:
        runs = newest(connection, 50)
        wanted = {
            "trend of one case": Wanted(case="vane 77 reaches"),
            "trend of one signal": Wanted(signal="node-17.signal-77"),
            "trend of a node, 500 checks": Wanted(node="node-3"),
            "trend of everything": Wanted(),
        }
        found = {}
        for what, which in wanted.items():
            for of in (Of.MARGIN, Of.LATENCY):
                took = min(
                    _timed(lambda w=which, of=of: find_series(connection, runs, w, of, 30))
                    for _ in range(5)
                )
                found[f"{what}, {of.value}"] = took
        run = find_run(connection, "glasshouse:virtual")
        found["what changed in a run"] = min(
            _timed(lambda: changes(connection, run)) for _ in range(3)
        )
    shelf.close()
    return found


def _timed(run: Callable[[], object]) -> float:
    began = time.perf_counter()
    run()
    return time.perf_counter() - began
