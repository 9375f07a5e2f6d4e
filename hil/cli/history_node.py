"""`hil history node`."""

import sys

import click

from hil.cli.keeping import asked_history


@click.command("node")
@click.argument("node", metavar="NODE")
@click.option(
    "--rack", default="", metavar="BENCH", help="Only this rack.  [default: that of the newest run]"
)
@click.option(
    "--last",
    type=click.IntRange(1),
    default=20,
    show_default=True,
    metavar="N",
    help="So many runs.",
)
@asked_history
def command(node: str, rack: str, last: int, history: str) -> None:
    """Tell how a node's checks went, and who it said it was."""
    from hil.history.nodes import node_lines, node_nights
    from hil.history.place import place_of
    from hil.history.runs import runs_of
    from hil.history.shelf import Shelf
    from hil.report.paint import paint, wants_colour

    shelf = Shelf(place_of(history))
    try:
        with shelf.reading() as connection:
            nights = node_nights(connection, node, runs_of(connection, rack, last))
    finally:
        shelf.close()
    paint(list(node_lines(node, nights)), sys.stdout, colour=wants_colour(sys.stdout))
