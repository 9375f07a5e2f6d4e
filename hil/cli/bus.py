"""`hil bus`: what the shared segment can carry, and whether the plans ask too much of it."""

import sys
from pathlib import Path

import click

from hil.cli.option import bench_option, written_option


@click.command("bus")
@click.argument("plans", nargs=-1, metavar="[PLAN]...")
@bench_option("The bench file whose bus is worked out.")
@written_option("--svg", "Draw one full cycle into this file as well.")
def command(plans: tuple[str, ...], bench: str, svg: Path | None) -> None:
    """Work out what the shared segment can carry, and what plans ask of it.

    PLAN is a plan file or a folder of them whose deadlines are held against the line; without
    one only the segment is worked out.  Ends with exit code 2 where the segment cannot work as
    described, or cannot carry a deadline.
    """
    from hil.bus.standing import stand
    from hil.bus.way import ways
    from hil.cli.bus_table import bus_lines
    from hil.core.error import DescriptionError, Mark, Mistake
    from hil.files.read import read_plans_with_warnings, read_rack
    from hil.report.exit_code import ExitCode
    from hil.report.paint import paint
    from hil.runner.selection import plan_files

    rack = read_rack(bench)
    asked = read_plans_with_warnings(plan_files(plans), rack, plans).plans if plans else ()
    standing = stand(rack, asked)
    if standing is None:
        what = "the file describes no `bus`, so there is nothing to work out"
        hint = "bus: {node-count: 2, participants: {tool: {id: 0}, NODE: {id: 1}}}"
        raise DescriptionError([Mistake(Mark(bench), what, hint)])
    found = ways(rack, standing.bus.segment, standing.budget)
    lines = list(bus_lines(rack.name, standing, found, len(asked)))
    paint(lines, sys.stdout)
    if svg is not None:
        _draw(svg, rack.name, standing.bus.segment)
    if any(not mistake.warning for mistake in standing.mistakes()):
        sys.exit(int(ExitCode.DESCRIPTION))


def _draw(file: Path, name: str, segment: object) -> None:
    from hil.bus.picture import draw
    from hil.bus.segment import Segment
    from hil.bus.timeline import full_cycle
    from hil.core.error import StoreError

    assert isinstance(segment, Segment)
    if not segment.takes_turns:
        click.echo("no picture: without PLCA there is no cycle to draw", err=True)
        return
    picture = draw(segment, full_cycle(segment), f"{name}, one full cycle")
    try:
        file.write_text(picture, encoding="utf-8")
    except OSError as error:
        raise StoreError(f"{file} cannot be written: {error.strerror or error}") from error
    click.echo(f"\n{file}: one full cycle")
