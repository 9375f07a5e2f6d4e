"""`hil history case`."""

import sys

import click

from hil.cli.keeping import RACK, asked_history, last_runs

MOST = 30
LOOKED_AT = 1_000
"""Cases with a text, of all racks: so many are looked at."""


@click.command("case")
@click.argument("text", metavar="TEXT")
@RACK
@last_runs(40)
@asked_history
def command(text: str, rack: str, last: int, history: str) -> None:
    """Tell how a case went, night after night.

    TEXT is a part of its title, or of that of its plan.
    """
    from hil.core.count import counted
    from hil.core.error import DescriptionError, Mark, Mistake
    from hil.history.passages import find_cases, passages_of_cases, stability
    from hil.history.runs import runs_of
    from hil.history.shelf import reading_from
    from hil.history.told import case_lines
    from hil.report.line import Line, Tone
    from hil.report.paint import paint

    with reading_from(history) as connection:
        runs = runs_of(connection, rack, last)
        cases = find_cases(connection, text, LOOKED_AT)
        passages = passages_of_cases(connection, [number for number, _, _ in cases], runs)
    by_id = {run.id: run for run in runs}
    lines: list[Line] = []
    ran = [case for case in cases if passages[case[0]]]
    for number, plan, title in ran[:MOST]:
        found = passages[number]
        lines += [*case_lines(plan, title, found, by_id, stability(found)), ()]
    if not lines:
        what = f"no case with this text ran on {runs[0].rack} in {counted(len(runs), 'run')}"
        raise DescriptionError([Mistake(Mark(text), what, "another rack with --rack BENCH")])
    lines.append(((f"{runs[0].rack}, {runs[-1].when} to {runs[0].when}", Tone.QUIET),))
    paint(lines, sys.stdout)
    if len(ran) > MOST:
        click.echo(f"only the first {MOST} of {len(ran)} cases are shown", err=True)
