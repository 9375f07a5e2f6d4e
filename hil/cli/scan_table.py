"""What `hil scan` prints: who was found, how often, and what is not as declared."""

from collections.abc import Iterator, Sequence

from hil.core.count import counted
from hil.report.line import Line, Tone
from hil.wire.comparison import Comparison, Entry, Finding

HEAD = ("node", "address", "number", "serial", "firmware", "boots", "seen", "by")
_RIGHT = frozenset({2, 5})
_SHOWN_RESOURCES = 8

Row = tuple[tuple[str, ...], Tone]


def scan_lines(name: str, found: Comparison, rounds: int, odd: Sequence[str]) -> Iterator[Line]:
    """Yield the headline, the table, the differences, and what nobody understood."""
    yield (_headline(name, found),)
    if found.entries:
        yield ()
        yield from _table([_row(entry, found, rounds) for entry in found.entries])
    for entry in found.entries:
        yield from _resources(entry)
    if found.findings:
        yield ()
        for finding in found.findings:
            yield (_sentence(finding),)
    if odd or found.unasked or found.untold:
        yield ()
    for text in found.untold:
        yield ((text, Tone.DOUBT),)
    for text in odd:
        yield ((text, Tone.DOUBT),)
    for node in found.unasked:
        yield ((f"{node} has a serial console only: not looked for", Tone.QUIET),)


def _headline(name: str, found: Comparison) -> tuple[str, Tone]:
    declared = len({entry.node.name for entry in found.entries if entry.node is not None})
    if not found.entries:
        return f"{name}: nothing that a scan can find", Tone.DOUBT
    if not found.findings:
        doubt = ", as far as they told" if found.untold or found.unasked else ""
        tone = Tone.DOUBT if doubt else Tone.GOOD
        return f"{name}: all {counted(declared, 'node')} as declared{doubt}", tone
    number = counted(len(found.findings), "difference")
    return f"{name}: {number} from the bench file", Tone.BAD


def _row(entry: Entry, found: Comparison, rounds: int) -> Row:
    node, seen = entry.node, entry.sighting
    name = "?" if node is None else node.name
    if seen is None:
        assert node is not None
        gone = ("-", "-", "-", "-", f"0 of {rounds}", "-")
        return (name, str(node.address), *gone), Tone.BAD
    wrong = any(each.node == (node.name if node else "") for each in found.findings)
    tone = Tone.BAD if wrong or node is None else Tone.PLAIN
    if tone is Tone.PLAIN and len(seen.rounds) < rounds:
        tone = Tone.DOUBT
    number = "-" if seen.number is None else str(seen.number)
    boots = "-" if seen.boots is None else str(seen.boots)
    how = ", ".join(seen.ways)
    told = (number, seen.serial or "-", seen.firmware or "-", boots)
    return (name, str(seen.address), *told, f"{len(seen.rounds)} of {rounds}", how), tone


def _table(rows: Sequence[Row]) -> Iterator[Line]:
    cells = [HEAD, *(row for row, _ in rows)]
    widths = [max(len(row[column]) for row in cells) for column in range(len(HEAD))]
    yield ((_aligned(HEAD, widths), Tone.QUIET),)
    for row, tone in rows:
        yield ((_aligned(row, widths), tone),)


def _aligned(row: Sequence[str], widths: Sequence[int]) -> str:
    parts = [
        text.rjust(width) if column in _RIGHT else text.ljust(width)
        for column, (text, width) in enumerate(zip(row, widths, strict=True))
    ]
    return "  ".join(parts).rstrip()


def _resources(entry: Entry) -> Iterator[Line]:
    """Yield what a CoAP node that nobody declared has to offer: it helps to tell which it is."""
    seen = entry.sighting
    if seen is None or entry.node is not None or not seen.resources:
        return
    yield ()
    yield ((f"{seen.address} offers", Tone.QUIET),)
    for link in seen.resources[:_SHOWN_RESOURCES]:
        yield ((f"    {link}", Tone.PLAIN),)
    left = len(seen.resources) - _SHOWN_RESOURCES
    if left > 0:
        yield ((f"    and {left} more", Tone.QUIET),)


def _sentence(finding: Finding) -> tuple[str, Tone]:
    who = f"{finding.node}: " if finding.node else ""
    return f"{finding.kind}: {who}{finding.text}", Tone.BAD
