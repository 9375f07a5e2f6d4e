"""`hil check`: every kind of file, read as a run would read it, nothing opened."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click
from click.core import ParameterSource

from hil.cli.option import bench_option

if TYPE_CHECKING:
    from hil.core.error import Mistake
    from hil.files.read import AlarmReading, Reading
    from hil.wire.rack import Rack

T = TypeVar("T")


@click.command("check")
@click.argument("files", nargs=-1, metavar="[FILES]...")
@bench_option("The bench file that plans and alarm specs are checked against.")
@click.pass_context
def command(ctx: click.Context, files: tuple[str, ...], bench: str) -> None:
    """Read bench, plan and alarm spec files and tell every mistake.

    FILES are files or folders of them; their first key (bench, plan, alarms, known-faults) says what they are.
    Alarm specs are reviewed as well, and deadlines of plans are held against what the bus of the
    bench file can carry (see hil bus).  Without FILES, testplans/ is read where it is, and the alarm spec beside
    the bench file: NAME-alarms.yaml beside NAME.yaml.  Of bench files alone no other is read.
    """
    from hil.core.count import counted
    from hil.core.error import DescriptionError
    from hil.files.kind import FileKind, kind_of
    from hil.files.read import (
        read_alarms_with_findings,
        read_known,
        read_plans_with_warnings,
        read_rack,
        read_rack_for,
    )
    from hil.runner.selection import plan_files

    folder = ("testplans",) if Path("testplans").is_dir() else ()
    places = plan_files(files) if files else [*plan_files(folder), *alarm_specs(bench)]
    of_kind: dict[FileKind, list[str]] = {kind: [] for kind in FileKind}
    for place in places:
        of_kind[kind_of(place)].append(place)
    if ctx.get_parameter_source("bench") is ParameterSource.DEFAULT and places:
        bench = places[0] if of_kind[FileKind.BENCH] == [*places] else bench
    rack = read_rack_for(bench, [place for place in places if place != bench])
    mistakes: list[Mistake] = []
    benches = {bench: rack} | {
        path: _gather(lambda path=path: read_rack(path), mistakes)  # type: ignore[misc]
        for path in of_kind[FileKind.BENCH]
        if path != bench
    }
    plans, specs = of_kind[FileKind.PLAN], of_kind[FileKind.ALARMS]
    reading = (
        _gather(lambda: read_plans_with_warnings(plans, rack, files), mistakes) if plans else None
    )
    alarms = _gather(lambda: read_alarms_with_findings(specs, rack), mistakes) if specs else None
    marks = {
        path: _gather(lambda path=path: read_known(path, rack), mistakes)  # type: ignore[misc]
        for path in of_kind[FileKind.KNOWN]
    }
    if alarms is not None:
        mistakes += alarms.errors
    odd = _of_segments(benches, bench, reading)
    mistakes += [mistake for mistake in odd if not mistake.warning]
    if mistakes:
        raise DescriptionError(mistakes)
    for warning in odd:
        click.echo(warning, err=True)
    _tell(benches, reading, alarms)
    for path, known in marks.items():
        click.echo(f"{path}: {counted(len(known or ()), 'known fault')}, no mistake")


def alarm_specs(bench: str) -> Sequence[str]:
    """Return the alarm spec file that belongs to a bench file, where there is one."""
    path = Path(bench)
    beside = path.with_name(f"{path.stem}-alarms.yaml")
    return [str(beside)] if beside.is_file() else []


def _gather(read: Callable[[], T], mistakes: "list[Mistake]") -> T | None:
    """Return what `read` returns; None, with its mistakes kept, where it raises."""
    from hil.core.error import DescriptionError

    try:
        return read()
    except DescriptionError as error:
        mistakes += error.mistakes
        return None


def _of_segments(
    benches: "dict[str, Rack | None]", bench: str, plans: "Reading | None"
) -> "list[Mistake]":
    """Return what is wrong or odd about shared segments, and about deadlines on that of `bench`."""
    from hil.bus.standing import stand

    found: list[Mistake] = []
    for path, rack in benches.items():
        asked = plans.plans if plans is not None and path == bench else ()
        standing = None if rack is None else stand(rack, asked)
        found += [] if standing is None else standing.mistakes()
    return sorted(found)


def _tell(
    benches: "dict[str, Rack | None]", plans: "Reading | None", alarms: "AlarmReading | None"
) -> None:
    from hil.cli.findings import count_findings
    from hil.core.count import counted

    for warning in plans.warnings if plans is not None else ():
        click.echo(warning, err=True)
    for finding in alarms.findings if alarms is not None else ():
        if not finding.accepted:
            click.echo(finding, err=True)
    for path, rack in benches.items():
        if rack is not None:
            signals = len(rack.signals())
            click.echo(
                f"{path}: {counted(len(rack.nodes), 'node')}, {counted(signals, 'signal')}, no mistake"
            )
    if plans is not None:
        cases = sum(len(plan.cases) for plan in plans.plans)
        click.echo(f"{counted(len(plans.plans), 'plan')}, {counted(cases, 'case')}, no mistake")
        if plans.passed_over:
            click.echo(plans.passed_over)
    if alarms is not None:
        found = count_findings(alarms.findings)
        click.echo(f"{counted(len(alarms.specs), 'alarm spec')}, no mistake; the review: {found}")
