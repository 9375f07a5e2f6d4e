"""Writes what a run tells about alarms into its folder: the table, and a picture of each spec."""

from collections.abc import Sequence
from pathlib import Path

from hil.report import alarm_csv
from hil.report.alarm_csv import alarms_csv
from hil.report.alarm_picture import draw
from hil.report.alarm_rows import ProvenSpec
from hil.report.store import write_whole


def write_alarms(folder: Path, specs: Sequence[ProvenSpec]) -> None:
    """Write `alarms.csv` and the pictures; nothing where no point was to be searched.

    Raises StoreError.
    """
    if not any(spec.rows for spec in specs):
        return
    write_whole(folder / alarm_csv.NAME, alarms_csv(specs).encode())
    for spec in specs:
        if spec.rows and spec.told is not None:
            write_whole(folder / spec.picture, draw(spec.told, spec.rows).encode())
