"""Where the history is: the options that several commands share.

--history PLACE   a file, or a URL; without it, history.sqlite among the reports
--no-history      the run is not kept
"""

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

C = TypeVar("C", bound=Callable[..., Any])

_PLACE = "a file, or postgresql://HOST/NAME"


def history_options(command: C) -> C:
    """Give a command that keeps runs `history` (empty for the usual place) and `no_history`."""
    command = click.option(
        "--no-history", is_flag=True, help="Do not keep the run in the history."
    )(command)
    return click.option(
        "--history",
        default="",
        metavar="PLACE",
        help=f"Where runs are kept: {_PLACE}.  [default: history.sqlite among the reports]",
    )(command)


def asked_history(command: C) -> C:
    """Give a command that asks the history `history`."""
    return click.option(
        "--history",
        default="reports/history.sqlite",
        show_default=True,
        metavar="PLACE",
        help=f"The history: {_PLACE}.",
    )(command)


RACK = click.option(
    "--rack", default="", metavar="BENCH", help="Only this rack.  [default: that of the newest run]"
)


def last_runs(usual: int, least: int = 1) -> Callable[[C], C]:
    """Return the option that says how many runs are looked at."""
    return click.option(
        "--last",
        type=click.IntRange(least),
        default=usual,
        show_default=True,
        metavar="N",
        help="So many runs.",
    )


def place_for(history: str, no_history: bool, reports: str | Path) -> str:
    """Return where a run is kept, empty where it is not.

    Raises UsageError for options that exclude each other, DescriptionError for no such place.
    """
    from hil.history.place import NAME, place_of

    if history and no_history:
        raise click.UsageError("--history and --no-history exclude each other")
    if no_history:
        return ""
    place = history or str(Path(reports) / NAME)
    place_of(place)
    return place
