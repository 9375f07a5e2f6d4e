"""`hil alarms review`: findings about alarm specs, without hardware."""

import sys

import click

from hil.cli.option import bench_option


@click.command("review")
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@bench_option("The bench file whose signals the specs are about.")
def command(files: tuple[str, ...], bench: str) -> None:
    """Review alarm specs on paper: nothing is opened or moved.

    The exit code is 2 where a spec has an error, and 0 where there are warnings and advice only.
    """
    from hil.cli.findings import review_lines
    from hil.files.read import read_alarms_with_findings, read_rack
    from hil.report.exit_code import ExitCode
    from hil.report.paint import paint

    reading = read_alarms_with_findings(files, read_rack(bench))
    paint(review_lines(reading), sys.stdout)
    sys.exit(int(ExitCode.DESCRIPTION if reading.errors else ExitCode.PASSED))
