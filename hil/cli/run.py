"""`hil run`."""

import contextlib
import os
import shlex
import shutil
import sys
from typing import TYPE_CHECKING

import click

from hil.cli.keeping import history_options, place_for
from hil.cli.option import BENCH, REPORTS, VIRTUAL
from hil.report.exit_code import TABLE

if TYPE_CHECKING:
    from hil.runner.options import Options
    from hil.runner.run import Read
    from hil.runner.selection import Selection
    from hil.wire.rack import Rack

CODES = "\n".join(["\b", "Exit codes:"] + [f"  {row.shown:<13} {row.meaning}" for row in TABLE])


def _refuse_empty(
    ctx: click.Context, param: click.Parameter, tags: tuple[str, ...]
) -> tuple[str, ...]:
    """Refuse a tag without a letter: no case can bear it, an unset variable may have made it."""
    if not all(tag.strip() for tag in tags):
        raise click.BadParameter("expected a tag, got an empty text")
    return tags


@click.command("run", epilog=CODES)
@click.argument("plans", nargs=-1, metavar="[PLAN]...")
@BENCH
@VIRTUAL
@click.option(
    "--served",
    is_flag=True,
    help="Use the software nodes that `hil nodes` serves in another terminal; start none.",
)
@click.option(
    "--tag",
    "tags",
    multiple=True,
    metavar="TAG",
    callback=_refuse_empty,
    help="Only cases with this tag; may be given again.",
)
@click.option(
    "--only", default="", metavar="TEXT", help="Only cases or plans with TEXT in the title."
)
@click.option(
    "--list", "listing", is_flag=True, help="Say what would run, on which nodes, with which limits."
)
@click.option("--shuffle", type=int, metavar="SEED", help="Run in an order drawn from SEED.")
@click.option(
    "--repeat", type=click.IntRange(1), default=1, metavar="N", help="Run every case N times."
)
@click.option(
    "--retry",
    "retries",
    type=click.IntRange(0),
    default=0,
    metavar="N",
    help="Try a failed case N times more; one that then passes is unstable.",
)
@click.option(
    "--unattended", is_flag=True, help="Ask nobody: cases that need a person are skipped."
)
@click.option(
    "--known",
    default="",
    metavar="FILE",
    help="Known faults: a failure that is exactly one of them counts as `known`.",
)
@click.option(
    "--if-changed",
    default=None,
    metavar="COMMAND",
    help="Call COMMAND with a text about what changed on its standard input, if anything did.",
)
@history_options
@REPORTS
def command(
    plans: tuple[str, ...],
    bench: str,
    virtual: bool,
    served: bool,
    tags: tuple[str, ...],
    only: str,
    listing: bool,
    shuffle: int | None,
    repeat: int,
    retries: int,
    unattended: bool,
    known: str,
    if_changed: str | None,
    history: str,
    no_history: bool,
    reports: str,
) -> None:
    """Run plans on a rack, judge every answer, leave the rack safe.

    PLAN is a plan file or a folder of them; without one, testplans/ is run.
    """
    from hil.runner.options import Options

    if virtual and served:
        raise click.UsageError("--virtual and --served exclude each other")
    _check_command(if_changed, no_history)
    options = Options(
        plans=plans or ("testplans",),
        bench=bench,
        virtual=virtual,
        served=served,
        tags=tags,
        only=only,
        shuffle=shuffle,
        repeat=repeat,
        retries=retries,
        reports=reports,
        command=asked(),
        known=known,
        history=place_for(history, no_history, reports),
        if_changed=if_changed or "",
        **_attendance(virtual, unattended),
    )
    if shuffle is not None:
        click.echo(f"in an order drawn from seed {shuffle}")
    if listing:
        _list(options)
    else:
        sys.exit(run_and_tell(options))


def _check_command(if_changed: str | None, no_history: bool) -> None:
    """Refuse a command of `--if-changed` that could not be called when the run is over."""
    if if_changed is None:
        return
    if no_history:
        raise click.UsageError("--if-changed needs the history")
    try:
        words = shlex.split(if_changed)
    except ValueError as error:
        what = str(error).lower()
        raise click.BadParameter(f"{what}: {if_changed}", param_hint="--if-changed") from error
    if not words:
        raise click.BadParameter("there is no command", param_hint="--if-changed")
    if shutil.which(words[0]) is None:
        raise click.BadParameter(f"no program {words[0]} is here", param_hint="--if-changed")


def asked() -> tuple[str, ...]:
    """Return the command line for the record, without the passwords in it."""
    from hil.history.place import without_password

    return ("hil", *map(without_password, sys.argv[1:]))


def _attendance(virtual: bool, unattended: bool) -> dict[str, str]:
    """Return the terminal at which somebody answers, or why nobody does."""
    if unattended:
        return {"unattended": "the run is unattended"}
    if virtual:
        return {"unattended": "virtual time waits for nobody"}
    with contextlib.suppress(OSError, ValueError, AttributeError):
        keys = sys.stdin.fileno()
        if os.isatty(keys) and (sys.stdout.isatty() or sys.stderr.isatty()):
            if os.tcgetpgrp(keys) != os.getpgrp():
                return {"unattended": "the run is in the background"}
            return {"terminal": os.ttyname(keys)}
    return {"unattended": "no terminal is here"}


def _list(options: "Options") -> None:
    from hil.runner.listing import list_cases
    from hil.runner.run import read_files

    rack, selection = read_files(options)
    for warning in selection.warnings:
        click.echo(warning, err=True)
    for line in list_cases(rack, selection):
        click.echo(line)


def run_and_tell(options: "Options", reads: "Read | None" = None) -> int:
    """Run, show progress and summary, return the exit code; `reads` makes the cases."""
    from hil.cli.progress import LiveProgress, PlainProgress
    from hil.report.alarm_table import alarm_table
    from hil.report.exit_code import meaning
    from hil.report.page.write import NAME as PAGE
    from hil.report.paint import is_screen, paint, say_plainly, wants_colour
    from hil.report.summary import summarise
    from hil.runner.run import read_files, run_plans

    colour = wants_colour(sys.stdout)
    lively = is_screen(sys.stdout)
    progress = LiveProgress(sys.stdout) if lively else PlainProgress(sys.stdout)

    def read(options: "Options") -> "tuple[Rack, Selection]":
        rack, selection = (reads or read_files)(options)
        progress.foresee(selection.cases)
        return rack, selection

    try:
        finished = run_plans(options, watch=progress, say=_say, read=read)
    finally:
        with contextlib.suppress(OSError):
            progress.close()
    with contextlib.suppress(OSError):  # the terminal may be gone; the exit code is not
        print(flush=True)
        told = [*summarise(finished.result), *alarm_table(finished.result.alarms, finished.folder)]
        paint(told, sys.stdout, colour=colour)
        for fault in finished.faults:
            say_plainly(f"not as it should be: {fault}", sys.stderr)
        if finished.crash:
            click.echo(finished.crash, err=True)
        if finished.changed:
            say_plainly(f"since the runs before: {finished.changed}", sys.stdout)
        page = finished.folder / PAGE
        if page.exists():
            say_plainly(f"report: {page}", sys.stdout)
        again = shlex.quote(str(finished.folder))
        evidence = f"evidence: {finished.junit or finished.folder} (again: hil rebuild {again})"
        say_plainly(evidence, sys.stdout)
        say_plainly(f"exit code {finished.code}: {meaning(finished.code)}", sys.stdout)
    return finished.code


def _say(text: str) -> None:
    from hil.report.paint import say_plainly

    with contextlib.suppress(OSError):
        say_plainly(text, sys.stderr)
