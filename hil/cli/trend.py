"""`hil trend`."""

import sys
from pathlib import Path

import click

from hil.cli.keeping import asked_history, last_runs
from hil.cli.option import written_option


@click.command("trend")
@click.option(
    "--case", "case", default="", metavar="TEXT", help="Only cases with TEXT in the title."
)
@click.option("--plan", default="", metavar="TEXT", help="Only plans with TEXT in the title.")
@click.option("--node", default="", metavar="NODE", help="Only checks of this node.")
@click.option("--signal", default="", metavar="SIGNAL", help="Only checks of this signal.")
@click.option(
    "--of",
    type=click.Choice(["margin", "latency", "value"]),
    default="margin",
    show_default=True,
    help="Which figure of a check.",
)
@click.option(
    "--rack", default="", metavar="BENCH", help="Which rack.  [default: that of the newest run]"
)
@last_runs(50, least=2)
@click.option(
    "--most",
    type=click.IntRange(1),
    default=8,
    show_default=True,
    metavar="N",
    help="So many series.",
)
@written_option("--svg", "Draw them into this file as well.")
@asked_history
def command(
    case: str,
    plan: str,
    node: str,
    signal: str,
    of: str,
    rack: str,
    last: int,
    most: int,
    svg: Path | None,
    history: str,
) -> None:
    """Show where margins and latencies go, night after night.

    Of many checks the most urgent come first.  EWMA and CUSUM charts hold the runs against the
    first ones; the slope is robust, with bounds of 95 % confidence.  What changed beside it is
    marked: F firmware, S serial number, P what the plan wants, B the bench file, T this tool.
    """
    from hil.history.series import Of, Wanted
    from hil.history.shelf import reading_from
    from hil.history.trend import trend_of
    from hil.history.trend_picture import trend_picture
    from hil.history.trend_table import trend_lines
    from hil.report.paint import paint
    from hil.report.store import write_whole

    wanted = Wanted(case=case, plan=plan, node=node, signal=signal)
    with reading_from(history) as connection:
        trend = trend_of(connection, rack, last, wanted, Of(of), most)
    paint(trend_lines(trend), sys.stdout)
    if svg is not None:
        write_whole(svg, trend_picture(trend.drifts).encode("utf-8"))
        click.echo(f"{svg}: {len(trend.drifts)} of them")
