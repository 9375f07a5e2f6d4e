"""A trend asked for: the series, where they go, the most urgent first."""

from dataclasses import dataclass

from sqlalchemy import Connection

from hil.core.error import DescriptionError, Mark, Mistake
from hil.history.drift import Drift, drift_of, urgency
from hil.history.passages import Stability, passages_of_cases, stability
from hil.history.runs import runs_of
from hil.history.series import Of, Wanted, find_series

LOOKED_AT = 60
"""So many series are looked at closer, at least."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """The most urgent series, of so many `found`; `steady` are the turns of their cases."""

    drifts: tuple[Drift, ...]
    steady: dict[int, Stability]
    found: int


def trend_of(
    connection: Connection, rack: str, last: int, wanted: Wanted, of: Of, most: int
) -> Trend:
    """Return a trend through the last runs of a rack.  Raises DescriptionError for an empty one."""
    runs = runs_of(connection, rack, last)
    series = find_series(connection, runs, wanted, of, max(LOOKED_AT, most))
    if not series:
        what = f"no check like this has a {of.value} in {len(runs)} runs of {runs[0].rack}"
        raise DescriptionError([Mistake(Mark("hil trend"), what)])
    drifts = sorted(map(drift_of, series), key=urgency)[:most]
    cases = {drift.series.case for drift in drifts}
    passages = passages_of_cases(connection, cases, runs)
    return Trend(
        drifts=tuple(drifts),
        steady={number: stability(found) for number, found in passages.items()},
        found=len(series),
    )
