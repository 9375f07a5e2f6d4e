"""What the hands-on commands have in common: their options, and how they are told what is wrong."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from hil.core.instant import Duration

BENCH = click.option(
    "--bench",
    default="fixtures/glasshouse.yaml",
    show_default=True,
    metavar="FILE",
    help="The bench file: which rack, and how to reach it.",
)


def duration_option(*names: str, **more: Any) -> Callable[[Any], Any]:
    """Return the option of a duration with its unit, such as `5 s`."""
    return click.option(*names, callback=_duration, **more)


def _duration(ctx: click.Context, param: click.Parameter, text: str | None) -> "Duration | None":
    from hil.files.duration import read_duration
    from hil.files.mistake import Misread

    if text is None:
        return None
    try:
        length = read_duration(text)
    except Misread as misread:
        hint = f"\n    try: {misread.hint}" if misread.hint else ""
        raise click.BadParameter(f"{misread.what}{hint}") from misread
    if length == 0:
        raise click.BadParameter("expected more than 0 s")
    return length
