"""Runs found again by what people call them.

    20261125T030452Z-glasshouse    a run by its name, or by the beginning of it
    reports/latest                 a run by its folder
    glasshouse                     the newest run of a rack
    glasshouse:virtual             its newest run on software nodes in virtual time

A rack is the name of a bench.  Runs in virtual time are a series of their own.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Row, Select, desc, select

from hil.core.error import DescriptionError, Mark, Mistake
from hil.history.schema import NODES, PLANS, RUNS

VIRTUAL = ":virtual"


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptRun:
    """A run as it is kept; `started` is UTC text, the counts are of cases."""

    id: int
    name: str
    started: str
    host: str
    bench: str
    virtual: bool
    bench_digest: str
    tool: str
    ended: bool
    aborted: str
    safe: bool
    outcome: str
    cases: int
    passed: int
    known: int
    failed: int
    unclear: int
    left_out: int

    @property
    def rack(self) -> str:
        """The rack, as people name it to this tool."""
        return f"{self.bench}{VIRTUAL if self.virtual else ''}"

    @property
    def when(self) -> str:
        """When it began, for people: `2026-11-25 03:04:52`."""
        return self.started[:19].replace("T", " ")


_COLUMNS = [RUNS.c[name] for name in KeptRun.__dataclass_fields__]


def newest(connection: Connection, most: int, rack: str = "") -> list[KeptRun]:
    """Return the newest runs of a rack, or of all racks, the newest first."""
    wanted = _ordered().limit(most)
    return _fetch(connection, _of_rack(wanted, rack) if rack else wanted)


def runs_of(connection: Connection, rack: str, most: int) -> list[KeptRun]:
    """Return the newest runs of a rack, the newest first; of that of the newest run by default.

    Raises DescriptionError where there are none.
    """
    if not rack:
        latest = newest(connection, 1)
        rack = latest[0].rack if latest else ""
    found = newest(connection, most, rack) if rack else []
    if not found:
        known = ", ".join(racks(connection))
        what = f"no run of {rack} is in the history" if rack else "the history holds no run"
        raise DescriptionError([Mistake(Mark("--rack"), what, known)])
    return found


def before(connection: Connection, run: KeptRun, most: int) -> list[KeptRun]:
    """Return the runs of the same rack before a run, the newest first."""
    own = (RUNS.c.bench == run.bench) & (RUNS.c.virtual == run.virtual)
    earlier = (RUNS.c.started < run.started) | (
        (RUNS.c.started == run.started) & (RUNS.c.id < run.id)
    )
    return _fetch(connection, _ordered().where(own & earlier).limit(most))


def find_run(connection: Connection, text: str) -> KeptRun:
    """Return the run that a text names.  Raises DescriptionError where there is none."""
    name = _name_of_folder(text)
    exact = _fetch(connection, _ordered().where(RUNS.c.name == name).limit(1))
    if exact:
        return exact[0]
    rack = newest(connection, 1, text)
    if rack:
        return rack[0]
    begun = _fetch(connection, _ordered().where(RUNS.c.name.startswith(name, autoescape=True)))
    if len({run.name for run in begun}) == 1:
        return begun[0]
    raise DescriptionError([_not_found(connection, text, begun)])


def run_of_key(connection: Connection, key: str) -> KeptRun:
    """Return the run of a key that is there."""
    return _fetch(connection, _ordered().where(RUNS.c.key == key))[0]


def racks(connection: Connection) -> list[str]:
    """Return every rack that has a run."""
    rows = connection.execute(select(RUNS.c.bench, RUNS.c.virtual).distinct())
    return sorted(f"{bench}{VIRTUAL if virtual else ''}" for bench, virtual in rows)


def identities(connection: Connection, run: KeptRun) -> dict[str, tuple[str, str]]:
    """Return serial number and firmware of every node of a run that told them."""
    asked = select(NODES.c.node, NODES.c.serial, NODES.c.firmware).where(NODES.c.run == run.id)
    rows = connection.execute(asked)
    return {node: (serial, firmware) for node, serial, firmware in rows if serial or firmware}


def plan_digests(connection: Connection, run: KeptRun) -> dict[str, str]:
    """Return the SHA-256 of each plan of a run, by its title."""
    asked = select(PLANS.c.title, PLANS.c.digest).where(PLANS.c.run == run.id)
    return {row.title: row.digest for row in connection.execute(asked)}


def _ordered() -> "Select[tuple[object, ...]]":
    return select(*_COLUMNS).order_by(desc(RUNS.c.started), desc(RUNS.c.id))


def _of_rack(asked: "Select[tuple[object, ...]]", rack: str) -> "Select[tuple[object, ...]]":
    bench = rack.removesuffix(VIRTUAL)
    return asked.where(RUNS.c.bench == bench, RUNS.c.virtual == rack.endswith(VIRTUAL))


def _fetch(connection: Connection, asked: "Select[tuple[object, ...]]") -> list[KeptRun]:
    rows: Sequence[Row[tuple[object, ...]]] = connection.execute(asked).all()
    return [KeptRun(**dict(row._mapping)) for row in rows]


def _name_of_folder(text: str) -> str:
    path = Path(text)
    return path.resolve().name if path.is_dir() else path.name or text


def _not_found(connection: Connection, text: str, begun: Sequence[KeptRun]) -> Mistake:
    if begun:
        names = ", ".join(dict.fromkeys(run.name for run in begun[:3]))
        return Mistake(Mark(text), f"{len(begun)} runs begin like this", names)
    known = ", ".join(racks(connection))
    hint = f"a rack: {known}; `hil history` lists the runs" if known else ""
    return Mistake(Mark(text), "no run and no rack of this name is in the history", hint)
