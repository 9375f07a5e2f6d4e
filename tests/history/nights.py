"""Journals of many nights on paper, and histories made of them."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from report.runs import ABOUT, PLAN, begun, check, ended, over, started

from hil.core.event import Event, KnownFault, NodeIdentified, render
from hil.core.instant import Instant
from hil.history.keep import keep_run
from hil.history.place import Place, place_of
from hil.history.record import RunRecord, recorded
from hil.report.about import About, write_about

FIRST = datetime(2026, 10, 1, 1, tzinfo=UTC)
MS = 1_000_000


def about(night: int, host: str = "bench-computer") -> About:
    """Return who ran the run of a night, counted from 0."""
    when = FIRST + timedelta(days=night)
    name = f"{when:%Y%m%dT%H%M%SZ}-glasshouse"
    return replace(ABOUT, run=name, started=f"{when:%Y-%m-%dT%H:%M:%SZ}", host=host)


def vane(index: int, title: str, outcome: str = "pass", **more: object) -> list[Event]:
    """Return the events of a case with one check; a margin below 0 goes with a failure."""
    facts: dict[str, object] = {"margin": 0.4, "elapsed": 60 * MS, "change": (59 * MS, 60 * MS)}
    facts |= {"text": f"{title}, step 1: it was wrong"} if outcome != "pass" else {}
    decided = check(index, outcome, **(facts | more))
    reasons = () if outcome == "pass" else (decided.text,)
    return [begun(index, title), decided, ended(index, title, outcome, *reasons)]


def night(*cases: tuple[str, str, dict[str, object]], extra: Iterable[Event] = ()) -> list[Event]:
    """Return the journal of a night whose cases are (title, outcome, what else of the check)."""
    events: list[Event] = [started(*(title for title, _, _ in cases)), *extra]
    for index, (title, outcome, more) in enumerate(cases):
        if outcome != "not run":
            events += vane(index, title, outcome, **more)
    return [*events, *over()]


def of(*outcomes: str) -> list[Event]:
    """Return a night whose cases `a`, `b`, `c` … end like this."""
    titles = "abcdefghij"
    return night(*((titles[at], outcome, {}) for at, outcome in enumerate(outcomes)))


def record(events: Iterable[Event], number: int) -> RunRecord:
    """Return what is kept of the journal of a night."""
    return recorded(events, about(number).run, about(number))


def folder_of(
    reports: Path, events: Iterable[Event], number: int, when: datetime | None = None
) -> Path:
    """Write the run of a night as a folder; it began at the same time as always, or `when`."""
    told = about(number)
    told = told if when is None else replace(told, started=f"{when:%Y-%m-%dT%H:%M:%SZ}")
    folder = reports / told.run
    folder.mkdir(parents=True, exist_ok=True)
    text = "".join(f"{render(event)}\n" for event in events)
    (folder / "journal.jsonl").write_bytes(text.encode("utf-8", "backslashreplace"))
    write_about(folder, told)
    return folder


def history(folder: Path, nights: Iterable[Iterable[Event]]) -> Place:
    """Return a history in a file that holds these nights, the first one first."""
    place = place_of(str(folder / "history.sqlite"))
    for number, events in enumerate(nights):
        keep_run(place, folder_of(folder, events, number))
    return place


def identified(firmware: str = "1.4.2", serial: str = "GH-0104") -> NodeIdentified:
    """Return who the louvres say they are."""
    return NodeIdentified(at=Instant(1), node="louvres", serial=serial, firmware=firmware, boots=1)


def mark(**more: object) -> KnownFault:
    """Return a known fault of the check that `report.runs.check` makes: 42.10 deg, wanted 45."""
    facts: dict[str, object] = {
        "at": Instant(0),
        "fault": "vane 2 stops short",
        "reason": "a worn gear, ordered",
        "reference": "K-17",
        "plan": "Louvres",
        "case": "a",
        "signal": "louvres.vane-2.position",
        "step": None,
        "measure": "",
        "values": (),
        "low": "41.5",
        "high": "43",
        "unit": "deg",
        "earliest": None,
        "latest": None,
        "until": "2027-03-01",
        "place": "known.yaml:3:5",
    }
    return KnownFault(**(facts | more))  # type: ignore[arg-type]


__all__ = ["PLAN", "about", "folder_of", "history", "identified", "mark", "night", "of", "record"]
