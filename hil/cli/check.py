"""`hil check`: plans and a bench file, read as a run would read them, nothing opened."""

import click


@click.command("check")
@click.argument("files", nargs=-1, metavar="[FILES]...")
@click.option(
    "--bench",
    default="fixtures/glasshouse.yaml",
    show_default=True,
    metavar="FILE",
    help="The bench file that the plans are checked against.",
)
def command(files: tuple[str, ...], bench: str) -> None:
    """Read plans and a bench file and tell every mistake in them.

    FILES are plan files or folders of them; without one, testplans/ is read.  Where the bench
    file describes a bus, the deadlines are held against what it can carry (see hil bus).
    """
    from hil.bus.standing import stand
    from hil.core.error import DescriptionError
    from hil.files.read import read_plans_with_warnings, read_rack
    from hil.runner.selection import plan_files

    rack = read_rack(bench)
    reading = read_plans_with_warnings(plan_files(files or ("testplans",)), rack)
    standing = stand(rack, reading.plans)
    told = [*reading.warnings, *([] if standing is None else standing.mistakes())]
    if any(not mistake.warning for mistake in told):
        raise DescriptionError(sorted(told))
    for warning in told:
        click.echo(warning, err=True)
    cases = sum(len(plan.cases) for plan in reading.plans)
    signals = len(rack.signals())
    click.echo(f"{bench}: {len(rack.nodes)} nodes, {signals} signals, no mistake")
    click.echo(f"{_count(len(reading.plans), 'plan')}, {_count(cases, 'case')}, no mistake")


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"
