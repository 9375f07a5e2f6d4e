"""`hil history changed`."""

import sys
from pathlib import Path

import click

from hil.cli.keeping import asked_history
from hil.cli.option import written_option


@click.command("changed")
@click.argument("runs", nargs=-1, metavar="[RUN [RUN]]")
@click.option(
    "--text", is_flag=True, help="Print it as a message of plain text: what changed, nothing else."
)
@written_option("--html", "Write it as a small page for mail into this file.")
@asked_history
def command(runs: tuple[str, ...], text: bool, html: Path | None, history: str) -> None:
    """Tell what changed between two runs, or two racks.

    That is: newly broken, still broken, fixed, slower, not run any more.  RUN is the name of a run, the beginning of it, its folder, or a rack (its newest run).  With two,
    the first is the older one; two racks may be named as well.  With one, or none for the newest
    run, every case is held against the last run before that judged it.
    """
    from hil.history.changed import changes
    from hil.history.message import as_mail, as_text
    from hil.history.runs import find_run, runs_of
    from hil.history.shelf import reading_from
    from hil.history.told import change_lines
    from hil.report.paint import paint
    from hil.report.store import write_whole

    if len(runs) > 2:
        raise click.UsageError("expected two runs at most")
    with reading_from(history) as connection:
        older = find_run(connection, runs[0]) if len(runs) == 2 else None
        newer = find_run(connection, runs[-1]) if runs else runs_of(connection, "", 1)[0]
        found = changes(connection, newer, older)
    if html is not None:
        write_whole(html, as_mail(found).encode("utf-8", "backslashreplace"))
    if text:
        sys.stdout.write(as_text(found))
        return
    paint(change_lines(found), sys.stdout)
