"""`hil history`: the table of its commands; alone it lists the newest runs."""

import sys

import click

from hil.cli.keeping import asked_history, last_runs
from hil.cli.lazy import LazyGroup

COMMANDS = {
    "case": ("hil.cli.history_case", "Tell how a case went, night after night."),
    "node": ("hil.cli.history_node", "Tell how a node's checks went, and who it said it was."),
    "changed": ("hil.cli.history_changed", "Tell what changed between two runs, or two racks."),
}


@click.group("history", cls=LazyGroup, table=COMMANDS, invoke_without_command=True)
@click.option(
    "--rack", default="", metavar="BENCH", help="Only this rack: glasshouse, or glasshouse:virtual."
)
@last_runs(20)
@asked_history
@click.pass_context
def command(ctx: click.Context, rack: str, last: int, history: str) -> None:
    """Look back over many runs: a case, a node, what changed.

    Without a command the newest runs are listed.
    """
    if ctx.invoked_subcommand is not None:
        given = {name: value for name, value in ctx.params.items() if _is_given(ctx, name)}
        ctx.default_map = {ctx.invoked_subcommand: given}  # what is said here counts there
        return
    from hil.history.runs import newest, runs_of
    from hil.history.shelf import reading_from
    from hil.history.told import run_lines
    from hil.report.paint import paint

    with reading_from(history) as connection:
        runs = runs_of(connection, rack, last) if rack else newest(connection, last)
    paint(run_lines(runs), sys.stdout)


def _is_given(ctx: click.Context, name: str) -> bool:
    return ctx.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE
