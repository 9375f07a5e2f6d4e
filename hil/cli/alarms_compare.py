"""`hil alarms compare`: where two alarm spec files differ."""

import sys

import click

from hil.cli.option import bench_option


@click.command("compare")
@click.argument("first", metavar="FILE")
@click.argument("second", metavar="FILE")
@bench_option("The bench file whose signals the specs are about.")
def command(first: str, second: str, bench: str) -> None:
    """Tell where two alarm spec files differ.

    Levels are compared exactly, whatever their units, and shown in both.  The exit code is 0 where
    both say the same, and 2 where they differ.
    """
    from hil.cli.findings import compare_lines
    from hil.files.alarm_pair import compare_files
    from hil.files.read import read_rack
    from hil.report.exit_code import ExitCode
    from hil.report.paint import paint

    comparison = compare_files(first, second, read_rack(bench))
    paint(compare_lines(comparison), sys.stdout)
    sys.exit(int(ExitCode.PASSED if comparison.equal else ExitCode.DESCRIPTION))
