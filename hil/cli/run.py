"""`hil run`."""

import contextlib
import shlex
import sys
from typing import TYPE_CHECKING

import click

from hil.report.exit_code import TABLE

if TYPE_CHECKING:
    from hil.runner.options import Options

CODES = "\n".join(["\b", "Exit codes:"] + [f"  {row.shown:<13} {row.meaning}" for row in TABLE])


@click.command("run", epilog=CODES)
@click.argument("plans", nargs=-1, metavar="[PLAN]...")
@click.option(
    "--bench",
    default="fixtures/glasshouse.yaml",
    show_default=True,
    metavar="FILE",
    help="The bench file: which rack, and how to reach it.",
)
@click.option(
    "--virtual", is_flag=True, help="Use software nodes in process, in virtual time; no network."
)
@click.option(
    "--tag",
    "tags",
    multiple=True,
    metavar="TAG",
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
    "--reports", default="reports", show_default=True, metavar="DIR", help="Where evidence goes."
)
def command(
    plans: tuple[str, ...],
    bench: str,
    virtual: bool,
    tags: tuple[str, ...],
    only: str,
    listing: bool,
    shuffle: int | None,
    repeat: int,
    retries: int,
    reports: str,
) -> None:
    """Run plans on a rack, judge every answer, leave the rack safe.

    PLAN is a plan file or a folder of them; without one, testplans/ is run.
    """
    from hil.runner.options import Options

    options = Options(
        plans=plans or ("testplans",),
        bench=bench,
        virtual=virtual,
        tags=tags,
        only=only,
        shuffle=shuffle,
        repeat=repeat,
        retries=retries,
        reports=reports,
        command=("hil", *sys.argv[1:]),
    )
    if listing:
        _list(options)
    else:
        sys.exit(_run(options))


def _list(options: "Options") -> None:
    from hil.runner.listing import list_cases
    from hil.runner.run import read_files

    for line in list_cases(*read_files(options)):
        click.echo(line)


def _run(options: "Options") -> int:
    from hil.cli.progress import LiveProgress, PlainProgress
    from hil.report.exit_code import meaning
    from hil.report.paint import paint, wants_colour
    from hil.report.summary import summarise
    from hil.runner.run import run_plans

    colour = wants_colour(sys.stdout)
    progress = LiveProgress(sys.stdout) if colour else PlainProgress(sys.stdout)
    try:
        finished = run_plans(options, watch=progress, say=_say)
    finally:
        with contextlib.suppress(OSError):
            progress.close()
    with contextlib.suppress(OSError):  # the terminal may be gone; the exit code is not
        print(flush=True)
        paint(summarise(finished.result), sys.stdout, colour=colour)
        for fault in finished.faults:
            click.echo(f"not as it should be: {fault}", err=True)
        if finished.crash:
            click.echo(finished.crash, err=True)
        again = shlex.quote(str(finished.folder))
        click.echo(f"evidence: {finished.junit or finished.folder} (again: hil rebuild {again})")
        click.echo(f"exit code {finished.code}: {meaning(finished.code)}")
    return finished.code


def _say(text: str) -> None:
    with contextlib.suppress(OSError):
        click.echo(text, err=True)
