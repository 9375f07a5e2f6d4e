"""`hil history case`."""

import sys

import click

from hil.cli.keeping import asked_history

MOST = 30
LOOKED_AT = 1_000
"""Cases with a text, of all racks: so many are looked at."""


@click.command("case")
@click.argument("text", metavar="TEXT")
@click.option(
    "--rack", default="", metavar="BENCH", help="Only this rack.  [default: that of the newest run]"
)
@click.option(
    "--last",
    type=click.IntRange(1),
    default=40,
    show_default=True,
    metavar="N",
    help="So many runs.",
)
@asked_history
def command(text: str, rack: str, last: int, history: str) -> None:
    """Tell how a case went, night after night.

    TEXT is a part of its title, or of that of its plan.
    """
    from hil.core.count import counted
    from hil.core.error import DescriptionError, Mark, Mistake
    from hil.history.passages import find_cases, passages_of_cases, stability
    from hil.history.place import place_of
    from hil.history.runs import runs_of
    from hil.history.shelf import Shelf
    from hil.history.told import case_lines
    from hil.report.line import Line, Tone
    from hil.report.paint import paint, wants_colour

    shelf = Shelf(place_of(history))
    try:
        with shelf.reading() as connection:
            runs = runs_of(connection, rack, last)
            cases = find_cases(connection, text, LOOKED_AT)
            passages = passages_of_cases(connection, [number for number, _, _ in cases], runs)
    finally:
        shelf.close()
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
    paint(lines, sys.stdout, colour=wants_colour(sys.stdout))
    if len(ran) > MOST:
        click.echo(f"only the first {MOST} of {len(ran)} cases are shown", err=True)
