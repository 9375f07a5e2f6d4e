"""`hil wire`: octets taken apart by the layouts of a bench, and a mismatch explained."""

import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from hil.cli.option import BENCH

if TYPE_CHECKING:
    from hil.report.line import Line
    from hil.wire.rack import Node, Rack
    from hil.wire.written import Written


@click.command("wire")
@click.argument("octets", nargs=-1, metavar="[HEX]...")
@BENCH
@click.option("--node", default="", metavar="NODE", help="Try the layouts of this node alone.")
def command(octets: tuple[str, ...], bench: str, node: str) -> None:
    """Take octets apart by the bench's layouts; say what differs where none fits.

    On a bench with CoAP nodes, CoAP messages are read as well; on one with serial consoles, lines
    of text.
    HEX is one datagram: 31 01 02 bc, 31:01:02:bc, 0x31 0x01, or a line of a journal.  Without any,
    standard input is read, one datagram a line.  Exit code 1 where a datagram fits no layout.
    """
    from hil.files.read import read_rack
    from hil.report.paint import paint

    if not octets and sys.stdin.isatty():
        raise click.UsageError("give octets in hex, or pipe them in, one datagram a line")
    rack = read_rack(bench)
    misfits = 0
    lines: list[Line] = []
    for written in _written(octets):
        if lines:
            lines.append(())
        fits, told = _told(written, rack, _nodes(rack, node or _known(rack, written)))
        lines += told
        misfits += not fits
    paint(lines, sys.stdout)
    sys.exit(1 if misfits else 0)


def _written(words: tuple[str, ...]) -> "Iterator[Written]":
    """Yield the datagrams; every line that is none is told, and then nothing is shown."""
    from hil.core.error import DescriptionError, Mark, Mistake
    from hil.wire.written import UnreadableError, read_written

    texts = [" ".join(words)] if words else [line.strip() for line in sys.stdin]
    found, mistakes = [], []
    for number, text in enumerate(texts, start=1):
        if not text and not words:
            continue
        try:
            found.append(read_written(text))
        except UnreadableError as error:
            mark = Mark("octets") if words else Mark("standard input", number, 1)
            mistakes.append(Mistake(mark, str(error), error.hint))
    if not found and not mistakes:
        mistakes.append(Mistake(Mark("standard input"), "there is no datagram"))
    if mistakes:
        raise DescriptionError(mistakes)
    yield from found


def _known(rack: "Rack", written: "Written") -> str:
    """Return the node that a journal names, where this bench has it."""
    return written.node if any(node.name == written.node for node in rack.nodes) else ""


def _nodes(rack: "Rack", name: str) -> "tuple[Node, ...]":
    from hil.core.error import DescriptionError, Mark, Mistake
    from hil.files.mistake import nearest, show

    if not name:
        return rack.nodes
    found = tuple(node for node in rack.nodes if node.name == name)
    if not found:
        near = nearest(name, [node.name for node in rack.nodes])
        what = f"there is no node {show(name)} on this bench"
        raise DescriptionError([Mistake(Mark("--node"), what, near)])
    return found


def _told(written: "Written", rack: "Rack", nodes: "tuple[Node, ...]") -> "tuple[bool, list[Line]]":
    """Return whether a datagram is as declared, and everything that is to be said of it."""
    from hil.cli.wire_coap import coap_message
    from hil.cli.wire_console import console_text
    from hil.cli.wire_table import fitting, misfitting
    from hil.report.paint import terminal_width
    from hil.wire.identifying import identify

    columns = terminal_width(sys.stdout)
    attempts = identify(nodes, written.octets, rack.discovery)
    if attempts and attempts[0].fits:
        return True, list(fitting(attempts, written.octets, columns))
    right, lines = console_text(nodes, written.octets)
    if not right and any(node.coap is not None for node in nodes):
        right, told = coap_message(written.octets)
        lines = told if right else [*lines, *told]
    if right or (lines and not attempts):
        return right, lines
    return False, [*misfitting(attempts, written.octets, columns), *lines]
