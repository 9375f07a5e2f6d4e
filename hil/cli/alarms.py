"""`hil alarms`: the table of its commands."""

import click

from hil.cli.lazy import LazyGroup

COMMANDS = {
    "review": ("hil.cli.alarms_review", "Review alarm specs on paper: nothing is opened or moved."),
    "prove": (
        "hil.cli.prove",
        "Prove alarm specs on a rack: every edge, transition, delay, colour, fault and latch.",
    ),
    "compare": ("hil.cli.alarms_compare", "Tell where two alarm spec files differ."),
}


@click.group("alarms", cls=LazyGroup, table=COMMANDS)
def command() -> None:
    """Review, compare and prove alarm specs."""
