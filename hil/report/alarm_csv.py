"""`alarms.csv`: every trip and reset point as a row, as RFC 4180 has it."""

import csv
import io
from collections.abc import Sequence

from hil.core.event import AlarmPoint
from hil.report.alarm_rows import ProvenSpec
from hil.report.visible import visible_line

NAME = "alarms.csv"
COLUMNS = (
    "spec",
    "signal",
    "alarm",
    "point",
    "direction",
    "specified",
    "measured",
    "low",
    "high",
    "difference",
    "uncertainty",
    "unit",
    "verdict",
    "rule",
    "searches",
    "probes",
    "odd",
    "requirements",
    "place",
    "text",
)


def alarms_csv(specs: Sequence[ProvenSpec]) -> str:
    """Return the whole file: a header, one row for each point, CR LF at the end of each line."""
    page = io.StringIO(newline="")
    writer = csv.writer(page, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for spec in specs:
        writer.writerows(_cells(row) for row in spec.rows)
    return page.getvalue()


def _cells(row: AlarmPoint) -> list[str]:
    cells = (
        row.spec,
        row.signal,
        row.alarm,
        row.point,
        row.way,
        row.wanted,
        row.mean,
        row.low,
        row.high,
        row.difference,
        row.uncertainty,
        row.unit,
        row.outcome,
        row.rule,
        str(row.repeats),
        str(row.probes),
        "; ".join(row.odd),
        "; ".join(row.requirements),
        row.place,
        row.text,
    )
    return [visible_line(cell) for cell in cells]
