"""`hil sheet`: one page of a run that is printed, read beside the rack, and signed."""

import sys
from pathlib import Path

import click


@click.command("sheet")
@click.argument("run", metavar="RUN", type=click.Path(exists=True, file_okay=False, path_type=Path))
def command(run: Path) -> None:
    """Write the readiness sheet of a run from its journal: one page to print and sign.

    RUN is the folder of a run, such as reports/latest.  For each node it tells who it is, what
    was proven, the result, the worst margin and what to be careful about.  The exit code is that
    of the run.
    """
    from hil.report.exit_code import exit_code, meaning
    from hil.report.page.sheet import write_sheet
    from hil.report.paint import say_plainly
    from hil.report.rebuild import fold_run
    from hil.report.summary import readiness

    folded = fold_run(run)
    path = write_sheet(run, folded.result, folded.about)
    code = exit_code(folded.result)
    say_plainly(readiness(folded.result), sys.stdout)
    say_plainly(f"sheet: {path}", sys.stdout)
    say_plainly(f"exit code {code}: {meaning(code)}", sys.stdout)
    sys.exit(code)
