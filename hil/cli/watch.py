"""`hil watch`: signals, live."""

import sys
from typing import TYPE_CHECKING

import click

from hil.cli.option import BENCH, duration_option

if TYPE_CHECKING:
    from hil.alarms.spec import Spec
    from hil.core.instant import Duration
    from hil.wire.rack import Rack


@click.command("watch")
@click.argument("signals", nargs=-1, metavar="[SIGNAL]...")
@BENCH
@click.option(
    "--virtual", is_flag=True, help="Watch software nodes in process, at the pace of the clock."
)
@click.option(
    "--alarms",
    default="",
    metavar="FILE",
    help="Show alarm bands by the specs of this file, instead of the bench file's `alarms`.",
)
@duration_option(
    "--every",
    default=None,
    least=20_000_000,  # so often what has come is read (hil.runner.onlooker)
    metavar="DURATION",
    help="Show things so often, at least 20 ms: 250 ms on a terminal, otherwise 1 s.",
)
@duration_option(
    "--for",
    "length",
    default=None,
    metavar="DURATION",
    help="Watch so long, for example 10 s; without it, until Ctrl-C.",
)
def command(
    signals: tuple[str, ...],
    bench: str,
    virtual: bool,
    alarms: str,
    every: "Duration | None",
    length: "Duration | None",
) -> None:
    """Show signals live: value, age, rate, course and alarm band.

    SIGNAL is a name, a node or a pattern, as for `hil get`; without one, all of the rack is shown.
    Nothing moves, and it can be done while a run is on.  Without a terminal it prints a line for
    each period.
    """
    from hil.cli.keys import open_keys
    from hil.cli.watch_view import LineView, TableView
    from hil.core.instant import MILLISECOND, SECOND, Duration
    from hil.files.read import read_rack
    from hil.report.exit_code import ExitCode
    from hil.report.paint import is_screen
    from hil.runner.naming import named_signals
    from hil.runner.watch import Watched, watch

    rack = read_rack(bench)
    lively = is_screen(sys.stdout)
    period = every or Duration(250 * MILLISECOND if lively else SECOND)
    watched = Watched(
        rack=rack,
        signals=named_signals(rack, signals),
        specs=_specs(alarms or rack.alarms, rack),
        period=period,
        length=length,
        virtual=virtual,
    )
    with open_keys() as keys:
        view = TableView(rack.name, sys.stdout, keys) if lively else LineView(sys.stdout, period)
        try:
            number = watch(watched, view)
        finally:
            view.close()
    if number is not None and (number != _CTRL_C or length is not None):
        sys.exit(ExitCode.ABORTED + number)


_CTRL_C = 2


def _specs(file: str, rack: "Rack") -> "tuple[Spec, ...]":
    """Return the specs of a file; findings of the review matter to nobody who only looks."""
    from hil.files.read import read_alarms_with_findings

    return read_alarms_with_findings([file], rack).specs if file else ()
