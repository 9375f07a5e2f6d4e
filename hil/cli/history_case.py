"""`hil history case`."""

import sys

import click

from hil.cli.keeping import asked_history

MOST = 30


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
            cases = find_cases(connection, text, MOST)
            passages = passages_of_cases(connection, [number for number, _, _ in cases], runs)
    finally:
        shelf.close()
    by_id = {run.id: run for run in runs}
    lines: list[Line] = []
    for number, plan, title in cases:
        found = passages[number]
        if found:
            lines += [*case_lines(plan, title, found, by_id, stability(found)), ()]
    if not lines:
        what = f"no case with this text ran on {runs[0].rack} in {len(runs)} runs"
        raise DescriptionError([Mistake(Mark(text), what)])
    lines.append(((f"{runs[0].rack}, {runs[-1].when} to {runs[0].when}", Tone.QUIET),))
    paint(lines, sys.stdout, colour=wants_colour(sys.stdout))
    if len(cases) == MOST:
        click.echo(f"only the first {MOST} cases are shown", err=True)
