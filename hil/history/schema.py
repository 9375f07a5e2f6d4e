"""The tables of a history.

    runs ─┬─ plans         title, SHA-256 of the text
          ├─ nodes         serial number, firmware, boots, worst margin
          ├─ faults        known faults, and how each stood
          ├─ case_results ──── cases     plan and title, once for all nights
          └─ results ─┬─────── checks    case, step, signal, form; once for all nights
              │       └─────── asks      what was wanted, and when
              └─ figures           what a measure found

Results lie in the order of runs, which makes adding one quick, and have an index in the order of
checks, which makes a trend quick.  A change of the tables is a step in `STEPS`; see `migrate`.
"""

from collections.abc import Callable, Sequence

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Connection,
    Double,
    Index,
    Integer,
    MetaData,
    SmallInteger,
    Table,
    Text,
    UniqueConstraint,
    insert,
    inspect,
    select,
    update,
)

TABLES = MetaData()


def _text(name: str, key: bool = False) -> "Column[str]":
    return Column(name, Text, nullable=False, primary_key=key)


def _whole(name: str, key: bool = False) -> "Column[int]":
    return Column(name, Integer, nullable=False, primary_key=key, autoincrement=False)


VERSION = Table("version", TABLES, _whole("number"))

RUNS = Table(
    "runs",
    TABLES,
    Column("id", Integer, primary_key=True),
    Column("key", Text, nullable=False, unique=True),
    *(_text(name) for name in ("name", "started", "host", "bench")),
    Column("virtual", Boolean, nullable=False),
    *(_text(name) for name in ("bench_file", "bench_digest", "tool", "interface", "stamps")),
    Column("ended", Boolean, nullable=False),
    _text("aborted"),
    Column("safe", Boolean, nullable=False),
    _text("outcome"),
    *(_whole(name) for name in ("cases", "passed", "known", "failed", "unclear", "left_out")),
    Index("runs_of_rack", "bench", "virtual", "started"),
)

PLANS = Table("plans", TABLES, _whole("run", True), _text("title", True), _text("digest"))

NODES = Table(
    "nodes",
    TABLES,
    _whole("run", True),
    _text("node", True),
    _text("serial"),
    _text("firmware"),
    Column("boots", BigInteger),
    *(_whole(name) for name in ("checks", "failed")),
    Column("margin", Double),
    _text("closest"),
)

FAULTS = Table(
    "faults",
    TABLES,
    _whole("run", True),
    _whole("number", True),
    *(_text(name) for name in ("fault", "reference", "reason", "plan", "title", "signal")),
    *(_text(name) for name in ("until", "standing")),
)

CASES = Table(
    "cases",
    TABLES,
    Column("id", Integer, primary_key=True),
    _text("plan"),
    _text("title"),
    UniqueConstraint("plan", "title"),
)

CASE_RESULTS = Table(
    "case_results",
    TABLES,
    _whole("run", True),
    _whole("case_id", True),
    _text("outcome"),
    Column("attempts", SmallInteger, nullable=False),
    Column("took", BigInteger, nullable=False),
    _text("reason"),
    _text("place"),
    Index("case_results_of_case", "case_id", "run"),
    sqlite_with_rowid=False,
)

CHECKS = Table(
    "checks",
    TABLES,
    Column("id", Integer, primary_key=True),
    _whole("case_id"),
    _whole("step"),
    *(_text(name) for name in ("signal", "node", "form")),
    _whole("nth"),
    UniqueConstraint("case_id", "step", "signal", "form", "nth"),
    Index("checks_of_node", "node"),
    Index("checks_of_signal", "signal"),
)

ASKS = Table(
    "asks",
    TABLES,
    Column("id", Integer, primary_key=True),
    *(_text(name) for name in ("wanted", "due", "unit")),
    Column("deadline", BigInteger),
    Column("low", Double),
    Column("high", Double),
    UniqueConstraint("wanted", "due", "unit"),
)

RESULTS = Table(
    "results",
    TABLES,
    _whole("run", True),
    _whole("check_id", True),
    Column("attempt", SmallInteger, nullable=False, primary_key=True, autoincrement=False),
    _whole("ask_id"),
    _text("outcome"),
    _text("got"),
    Column("value", Double),
    Column("margin", Double),
    Column("latency", BigInteger),
    Index("results_of_check", "check_id", "run"),
    sqlite_with_rowid=False,
)

FIGURES = Table(
    "figures",
    TABLES,
    _whole("run", True),
    _whole("check_id", True),
    Column("attempt", SmallInteger, nullable=False, primary_key=True, autoincrement=False),
    _text("name", True),
    Column("low", Double, nullable=False),
    Column("likely", Double, nullable=False),
    Column("high", Double),
    _text("unit"),
    sqlite_with_rowid=False,
)

OF_RUN = (PLANS, NODES, FAULTS, CASE_RESULTS, RESULTS, FIGURES)
"""What goes when a run goes."""

Step = Callable[[Connection], None]


def _begin(connection: Connection) -> None:
    TABLES.create_all(connection)


STEPS: tuple[Step, ...] = (_begin,)
"""Step n makes version n of version n − 1.  A new history takes the first and is as new as ours;
whoever adds a step therefore changes the tables above as well."""


class TooNew(Exception):
    """The history was written by a later version of this tool."""


def version_of(connection: Connection) -> int:
    """Return the version of the tables; 0 where there are none."""
    if not inspect(connection).has_table(VERSION.name):
        return 0
    return int(connection.scalar(select(VERSION.c.number)) or 0)


def migrate(connection: Connection, steps: Sequence[Step] = STEPS) -> None:
    """Bring the tables up to date, in the transaction of the caller.  Raises TooNew."""
    found = version_of(connection)
    if found > len(steps):
        raise TooNew(f"version {found}, this tool knows {len(steps)}")
    if found == len(steps):
        return
    if found == 0:
        steps[0](connection)
        connection.execute(insert(VERSION).values(number=len(steps)))
        return
    for step in steps[found:]:
        step(connection)
    connection.execute(update(VERSION).values(number=len(steps)))
