"""`hil alarms prove`: an alarm spec, proven on the rack by one case for every edge and property."""

import sys

import click

from hil.cli.keeping import history_options, place_for
from hil.cli.option import BENCH, REPORTS, VIRTUAL
from hil.cli.run import CODES, asked, run_and_tell


@click.command("prove", epilog=CODES)
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@BENCH
@VIRTUAL
@click.option(
    "--served",
    is_flag=True,
    help="Use the software nodes that `hil nodes` serves already, in this or another terminal.",
)
@click.option(
    "--only",
    default="",
    metavar="TEXT",
    help="Only properties with TEXT in the title: a spec, an alarm, a property.",
)
@click.option(
    "--repeat",
    type=click.IntRange(1),
    default=3,
    show_default=True,
    metavar="N",
    help="Search every point and measure every delay N times.",
)
@click.option(
    "--list", "listing", is_flag=True, help="Say what would be proven; nothing is opened or moved."
)
@history_options
@REPORTS
def command(
    files: tuple[str, ...],
    bench: str,
    virtual: bool,
    served: bool,
    only: str,
    repeat: int,
    listing: bool,
    history: str,
    no_history: bool,
    reports: str,
) -> None:
    """Prove alarm specs on a rack: every edge, transition, delay, colour, fault and latch.

    FILE is an alarm spec file.  What the bench offers no way to provoke is listed as skipped.
    """
    from hil.runner.listing import list_cases
    from hil.runner.options import Options
    from hil.runner.proving import proofs

    if virtual and served:
        raise click.UsageError("--virtual and --served exclude each other")
    options = Options(
        plans=files,
        bench=bench,
        virtual=virtual,
        served=served,
        only=only,
        reports=reports,
        command=asked(),
        history=place_for(history, no_history, reports),
    )
    read = proofs(repeat)
    if not listing:
        sys.exit(run_and_tell(options, read))
    for line in list_cases(*read(options)):
        click.echo(line)
