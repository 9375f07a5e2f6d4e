"""`hil rebuild`: the reports of a run once more, from its journal."""

import sys
from pathlib import Path

import click

from hil.cli.keeping import history_options, place_for


@click.command("rebuild")
@click.argument("run", metavar="RUN", type=click.Path(exists=True, file_okay=False, path_type=Path))
@history_options
def command(run: Path, history: str, no_history: bool) -> None:
    """Make the reports of a run again from its journal.

    It is kept in the history again as well, where it replaces itself.  RUN is the folder of a run, such as reports/latest.  The exit code is that of the run.
    """
    from hil.core.count import counted
    from hil.report.alarm_table import alarm_table
    from hil.report.exit_code import exit_code, meaning
    from hil.report.paint import paint, say_plainly
    from hil.report.rebuild import rebuild
    from hil.report.summary import summarise
    from hil.runner.remembering import keep_again

    place = place_for(history, no_history, run.resolve().parent)
    rebuilt = rebuild(run)
    told = [*summarise(rebuilt.result), *alarm_table(rebuilt.result.alarms, run)]
    paint(told, sys.stdout)
    if rebuilt.unreadable:
        lines = counted(rebuilt.unreadable, "line")
        click.echo(f"{lines} of the journal could not be read", err=True)
    fault = keep_again(place, run) if place else ""
    if fault:
        click.echo(f"not as it should be: {fault}", err=True)
    code = exit_code(rebuilt.result, store_fault=bool(fault))
    say_plainly(f"report: {rebuilt.page}", sys.stdout)
    say_plainly(f"evidence: {rebuilt.junit}", sys.stdout)
    say_plainly(f"exit code {code}: {meaning(code)}", sys.stdout)
    sys.exit(code)
