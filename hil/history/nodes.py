"""A node, night after night: who it said it was, and how its checks went."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from sqlalchemy import Connection, select

from hil.core.error import DescriptionError, Mark, Mistake
from hil.history.runs import KeptRun
from hil.history.schema import NODES
from hil.history.told import Cells, heads, table
from hil.report.line import Line, Tone
from hil.report.visible import visible_line


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeNight:
    """A node in one run; `closest` is the signal with the least margin."""

    run: KeptRun
    serial: str
    firmware: str
    boots: int | None
    checks: int
    failed: int
    margin: float | None
    closest: str


def node_nights(connection: Connection, node: str, runs: Sequence[KeptRun]) -> list[NodeNight]:
    """Return a node's nights, the newest first.  Raises DescriptionError where it has none."""
    columns = ("run", "serial", "firmware", "boots", "checks", "failed", "margin", "closest")
    asked = select(*(NODES.c[name] for name in columns)).where(
        NODES.c.node == node, NODES.c.run.in_([run.id for run in runs])
    )
    found = {row.run: row for row in connection.execute(asked)}
    if not found:
        other = select(NODES.c.node).where(NODES.c.run == runs[0].id).order_by(NODES.c.node)
        known = ", ".join(connection.scalars(other))
        what = f"no node of this name is in the runs of {runs[0].rack}"
        raise DescriptionError([Mistake(Mark(node), what, known)])
    return [
        NodeNight(run=run, **{name: getattr(found[run.id], name) for name in columns[1:]})
        for run in runs
        if run.id in found
    ]


def node_lines(node: str, nights: Sequence[NodeNight]) -> Iterator[Line]:
    """Yield a table of a node's nights; what it said of itself is marked where it changed."""
    yield ((visible_line(node), Tone.STRONG), (f"  {visible_line(nights[0].run.rack)}", Tone.QUIET))
    rows: list[Cells] = [
        heads(
            "began (UTC)", "serial", "firmware", "boots", "checks", "fail", "worst margin", "where"
        )
    ]
    for night, before in pairwise([*nights, None]):
        assert night is not None
        rows.append(_row(night, before))
    yield from table(rows, left=(0, 1, 2, 7))


def _row(night: NodeNight, before: NodeNight | None) -> Cells:
    was = night if before is None else before
    bad = night.margin is not None and night.margin < 0
    return [
        (night.run.when, Tone.QUIET),
        (visible_line(night.serial), _marked(night.serial, was.serial)),
        (visible_line(night.firmware), _marked(night.firmware, was.firmware)),
        ("" if night.boots is None else str(night.boots), Tone.PLAIN),
        (str(night.checks), Tone.PLAIN),
        (str(night.failed), Tone.BAD) if night.failed else ("–", Tone.QUIET),
        ("" if night.margin is None else f"{night.margin:+.2f}", Tone.BAD if bad else Tone.PLAIN),
        (visible_line(night.closest), Tone.QUIET),
    ]


def _marked(now: str, before: str) -> Tone:
    return Tone.DOUBT if now and before and now != before else Tone.PLAIN
