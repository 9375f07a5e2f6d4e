"""Options that several commands share, and how a duration is told to be wrong."""

import re
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from hil.core.instant import Duration

Decorator = Callable[[Any], Any]


def bench_option(told: str) -> Decorator:
    """Return the option that names a bench file, `told` in its help."""
    return click.option(
        "--bench",
        default="fixtures/glasshouse.yaml",
        show_default=True,
        metavar="FILE",
        help=told,
    )


BENCH = bench_option("The bench file: which rack, and how to reach it.")

VIRTUAL = click.option(
    "--virtual", is_flag=True, help="Use software nodes in process, in virtual time; no network."
)

REPORTS = click.option(
    "--reports", default="reports", show_default=True, metavar="DIR", help="Where evidence goes."
)


def written_option(name: str, told: str) -> Decorator:
    """Return the option that names a file to be written."""
    kind = click.Path(dir_okay=False, path_type=Path)
    return click.option(name, type=kind, metavar="FILE", help=told)


def duration_option(*names: str, least: int = 1, **more: Any) -> Decorator:
    """Return the option of a duration with its unit, of at least so many ns.

    `5s` will do as well as `5 s`, which a shell takes for two words unless it is quoted.
    """
    return click.option(*names, callback=partial(_duration, least), **more)


def _duration(
    least: int, ctx: click.Context, param: click.Parameter, text: str | None
) -> "Duration | None":
    from hil.core.instant import Duration, show_duration
    from hil.files.duration import read_duration
    from hil.files.mistake import Misread

    if text is None:
        return None
    try:
        length = read_duration(re.sub(r"(?<=[0-9])(?=[^\W\d_])", " ", text, count=1))
    except Misread as misread:
        hint = f"\n    try: {misread.hint}" if misread.hint else ""
        raise click.BadParameter(f"{misread.what}{hint}") from misread
    if length == 0:
        raise click.BadParameter("expected more than 0 s")
    if length < least:
        raise click.BadParameter(f"expected at least {show_duration(Duration(least))}")
    return length
