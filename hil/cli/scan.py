"""`hil scan`: who is on the rack, and is it what the bench file says?"""

import sys
from pathlib import Path

import click

from hil.cli.option import bench_option, written_option


@click.command("scan")
@bench_option("The bench file that says how nodes are found and who they must be.")
@click.option("--rounds", type=click.IntRange(1, 100), metavar="N", help="Ask so many times.")
@click.option("--coap", is_flag=True, help="Ask all CoAP nodes as well, at their multicast group.")
@click.option("--virtual", is_flag=True, help="Scan the software nodes in virtual time.")
@click.option(
    "--served", is_flag=True, help="The software nodes are served by `hil nodes` already."
)
@written_option(
    "--write", "Draft a bench file of what was found; a file that is there is not replaced."
)
def command(
    bench: str, rounds: int | None, coap: bool, virtual: bool, served: bool, write: Path | None
) -> None:
    """Find the nodes of a rack and compare them with its bench file.

    Nodes are found by the announces that the bench file declares, by CoAP multicast, and by asking
    each address of the file for a reading.  It only asks: nothing is moved.  Ends with exit code 0
    where every node is as declared, and with 3 where one is not.
    """
    from hil.cli.scan_table import scan_lines
    from hil.files.read import read_rack
    from hil.report.exit_code import ExitCode
    from hil.report.paint import paint
    from hil.runner.scan import Stopped, scan_on_wall, scan_virtually, with_rounds
    from hil.wire.comparison import Comparison

    if virtual and served:
        raise click.UsageError("--virtual and --served exclude each other")
    if write is not None and (write.exists() or not write.parent.is_dir()):
        why = "is there already" if write.exists() else "would be in a folder that is not there"
        raise click.BadParameter(f"{write} {why}", param_hint="--write")
    declared = read_rack(bench)
    rack = with_rounds(declared, rounds, coap)
    try:
        if virtual:
            scan = scan_virtually(rack)
        else:
            scan = scan_on_wall(rack, lambda text: click.echo(text, err=True), served=served)
    except Stopped as stopped:
        click.echo(f"the scan was {stopped}", err=True)
        sys.exit(130)
    found = Comparison(rack, scan.sightings, scan.rounds)
    lines = list(scan_lines(rack.name, found, scan.rounds, list(scan.odd)))
    paint(lines, sys.stdout)
    if write is not None:
        _write(write, with_rounds(declared, None, coap), found)
    if found.findings:
        sys.exit(int(ExitCode.BENCH))
    if not found.entries:
        sys.exit(int(ExitCode.DESCRIPTION))


def _write(file: Path, rack: "object", found: "object") -> None:
    from hil.report.store import write_whole
    from hil.runner.draft import draft
    from hil.wire.comparison import Comparison
    from hil.wire.rack import Rack

    assert isinstance(rack, Rack)
    assert isinstance(found, Comparison)
    write_whole(file, draft(rack, found, str(file)).encode("utf-8"))
    click.echo(f"\n{file}: a draft; look for `fill in` in it, then: hil check {file}")
