"""`hil`: the table of commands, and what every command does with an error.

Importing this file imports click and nothing heavy, so that `hil --help` is quick; a command's own
file is imported when the command is called.

    DescriptionError   every mistake is printed                exit code 2
    BenchError         one sentence                            exit code 3
    StoreError         one sentence                            exit code 5
    anything else      a bug of ours: the full traceback       exit code 4
"""

import sys
from typing import Any

import click

from hil.cli.lazy import LazyGroup
from hil.cli.outlet import Outlet

STORE = 5  # ExitCode.STORE, which is not imported here

COMMANDS = {
    "run": ("hil.cli.run", "Run plans on a rack, judge every answer, leave the rack safe."),
    "check": ("hil.cli.check", "Read bench, plan and alarm spec files and tell every mistake."),
    "bus": ("hil.cli.bus", "Work out what the shared segment can carry, and what plans ask of it."),
    "alarms": ("hil.cli.alarms", "Review, compare and prove alarm specs."),
    "nodes": ("hil.cli.nodes", "Serve the software nodes of a bench file until Ctrl-C."),
    "get": ("hil.cli.get", "Read the current values of signals; nothing moves."),
    "set": ("hil.cli.set", "Drive signals and hold them until Ctrl-C, then make the rack safe."),
    "watch": ("hil.cli.watch", "Show signals live: value, age, rate, course and alarm band."),
    "wire": (
        "hil.cli.wire",
        "Take octets apart by the bench's layouts; say what differs where none fits.",
    ),
    "history": ("hil.cli.history", "Look back over many runs: a case, a node, what changed."),
    "trend": ("hil.cli.trend", "Show where margins and latencies go, night after night."),
    "scan": ("hil.cli.scan", "Find the nodes of a rack and compare them with its bench file."),
    "schema": ("hil.cli.schema", "Print the JSON Schema of a kind of file, for editors."),
    "sheet": (
        "hil.cli.sheet",
        "Write the readiness sheet of a run from its journal: one page to print and sign.",
    ),
    "judge": ("hil.cli.judge", "Judge a recorded run, or a capture, again; no node is needed."),
    "rebuild": ("hil.cli.rebuild", "Make the reports of a run again from its journal."),
}


class _Hil(LazyGroup):
    """The outermost group: here every error gets its exit code, and output may end early."""

    def main(self, *args: Any, **more: Any) -> Any:
        with Outlet() as outlet:
            try:
                return super().main(*args, **more)
            except SystemExit as end:
                outlet.flush()
                if not outlet.fault:
                    raise
                click.echo(f"evidence: {outlet.fault}", err=True)
                code = end.code if isinstance(end.code, int) else 0
                sys.exit(max(code, STORE))

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except (click.exceptions.Exit, click.ClickException, click.Abort):
            raise
        except KeyboardInterrupt:
            _say("stopped by Ctrl-C")
            ctx.exit(130)
        except Exception as error:
            ctx.exit(tell(error))


def tell(error: Exception) -> int:
    """Print an error the way its kind deserves and return the exit code."""
    from hil.core.error import BenchError, DescriptionError, StoreError
    from hil.report.exit_code import ExitCode

    if isinstance(error, DescriptionError):
        count = len([mistake for mistake in error.mistakes if not mistake.warning])
        _say(str(error))
        _say(f"{count} {'mistake' if count == 1 else 'mistakes'}, nothing ran")
        return int(ExitCode.DESCRIPTION)
    if isinstance(error, BenchError):
        _say(f"bench: {error}")
        return int(ExitCode.BENCH)
    if isinstance(error, StoreError):
        _say(f"evidence: {error}")
        return int(ExitCode.STORE)
    import traceback

    traceback.print_exception(error)
    _say("this is a bug of the tool, not of the node, the plan or the bench")
    return int(ExitCode.BUG)


def _say(text: str) -> None:
    """Write lines to the error stream, broken at blanks where that is a terminal."""
    from hil.report.paint import say_plainly

    for line in text.splitlines():
        say_plainly(line, sys.stderr)


@click.group(cls=_Hil, table=COMMANDS, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="rackproof", prog_name="hil", message="%(prog)s %(version)s")
def main() -> None:
    """Prove racks of networked sensor and actuator nodes."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
