"""`hil history node`."""

import sys

import click

from hil.cli.keeping import RACK, asked_history, last_runs


@click.command("node")
@click.argument("node", metavar="NODE")
@RACK
@last_runs(20)
@asked_history
def command(node: str, rack: str, last: int, history: str) -> None:
    """Tell how a node's checks went, and who it said it was."""
    from hil.history.nodes import node_lines, node_nights
    from hil.history.runs import runs_of
    from hil.history.shelf import reading_from
    from hil.report.paint import paint

    with reading_from(history) as connection:
        nights = node_nights(connection, node, runs_of(connection, rack, last))
    paint(node_lines(node, nights), sys.stdout)
