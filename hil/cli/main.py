"""`hil`: the table of commands, and what every command does with an error.

Importing this file imports click and nothing else, so that `hil --help` is quick; a command's own
file is imported when the command is called.

    DescriptionError   every mistake is printed                exit code 2
    BenchError         one sentence                            exit code 3
    StoreError         one sentence                            exit code 5
    anything else      a bug of ours: the full traceback       exit code 4
"""

import importlib
import sys
from typing import Any

import click

COMMANDS = {
    "run": ("hil.cli.run", "Run plans on a rack, judge every answer, leave the rack safe."),
    "check": ("hil.cli.check", "Read plans and a bench file and tell every mistake in them."),
    "nodes": ("hil.cli.nodes", "Serve the software nodes of a bench file until Ctrl-C."),
    "schema": ("hil.cli.schema", "Print the JSON Schema of bench or plan files, for editors."),
    "rebuild": ("hil.cli.rebuild", "Make the reports of a run again from its journal."),
}


class LazyGroup(click.Group):
    """A group whose commands are imported when they are called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(COMMANDS[name][0]).command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError:
            near = _nearest(args[0])
            hint = f"\n    try: hil {near}" if near else ""
            raise click.UsageError(f"there is no command {args[0]!r}{hint}", ctx) from None

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except (click.exceptions.Exit, click.ClickException, click.Abort):
            raise
        except KeyboardInterrupt:
            ctx.exit(130)
        except Exception as error:
            ctx.exit(tell(error))


def tell(error: Exception) -> int:
    """Print an error the way its kind deserves and return the exit code."""
    from hil.core.error import BenchError, DescriptionError, StoreError
    from hil.report.exit_code import ExitCode

    if isinstance(error, DescriptionError):
        count = len([mistake for mistake in error.mistakes if not mistake.warning])
        click.echo(error, err=True)
        click.echo(f"{count} {'mistake' if count == 1 else 'mistakes'}, nothing ran", err=True)
        return int(ExitCode.DESCRIPTION)
    if isinstance(error, BenchError):
        click.echo(f"bench: {error}", err=True)
        return int(ExitCode.BENCH)
    if isinstance(error, StoreError):
        click.echo(f"evidence: {error}", err=True)
        return int(ExitCode.STORE)
    import traceback

    traceback.print_exception(error)
    click.echo("this is a bug of the tool, not of the node, the plan or the bench", err=True)
    return int(ExitCode.BUG)


def _nearest(word: str) -> str:
    import difflib

    near = difflib.get_close_matches(word, COMMANDS, n=1)
    return near[0] if near else ""


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="rackproof", prog_name="hil", message="%(prog)s %(version)s")
def main() -> None:
    """Prove racks of networked sensor and actuator nodes."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
