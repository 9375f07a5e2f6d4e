"""`hil get`: the current values of signals."""

import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from hil.cli.option import BENCH, duration_option

if TYPE_CHECKING:
    from hil.core.instant import Duration
    from hil.core.signal import Sample, Signal
    from hil.report.line import Line, Tone
    from hil.runner.get import Got


@click.command("get")
@click.argument("signals", nargs=-1, required=True, metavar="SIGNAL...")
@BENCH
@click.option(
    "--virtual", is_flag=True, help="Read software nodes in process, at rest; no network."
)
@click.option("--raw", is_flag=True, help="Show the octets of each value and its datagram.")
@duration_option(
    "--within",
    default="2 s",
    show_default=True,
    metavar="DURATION",
    help="Wait so long for a node.",
)
def command(
    signals: tuple[str, ...], bench: str, virtual: bool, raw: bool, within: "Duration"
) -> None:
    """Read the current values of signals; nothing moves.

    SIGNAL is a name (feedline.pressure), a node (feedline: all of its signals) or a pattern
    ('mast.*').  It can be done while a run is on.  Exit code 3 where a node is silent.
    """
    from hil.files.read import read_rack
    from hil.report.exit_code import ExitCode
    from hil.report.paint import paint
    from hil.runner.get import get

    got = get(read_rack(bench), signals, virtual=virtual, within=within)
    paint(_lines(got, raw), sys.stdout)
    paint(_trouble(got), sys.stderr)
    if got.stopped_by is not None:
        sys.exit(ExitCode.ABORTED + got.stopped_by)
    sys.exit(ExitCode.BENCH if got.silent or got.impostors else ExitCode.PASSED)


def _lines(got: "Got", raw: bool) -> "Iterator[Line]":
    from hil.report.line import Tone

    rows = [(signal, got.samples.get(signal.path)) for signal in got.signals]
    names = max(len(signal.path) for signal in got.signals)
    shown = [_value(signal, sample) for signal, sample in rows]
    values = max(len(value) for value, _, _ in shown)
    for (signal, sample), (value, tone, note) in zip(rows, shown, strict=True):
        age = f"{_age(got, sample):>12}"
        yield (
            (f"{signal.path:<{names}}  ", Tone.PLAIN),
            (f"{value:<{values}}", tone),
            (age, Tone.QUIET),
            (f"  {note}" if note else "", tone),
            (f"  {_octets(got, signal, sample)}" if raw and sample is not None else "", Tone.QUIET),
        )
    if raw:
        yield from _datagrams(got)


def _value(signal: "Signal", sample: "Sample | None") -> "tuple[str, Tone, str]":
    from hil.core.signal import Validity, show_value
    from hil.report.line import Tone
    from hil.report.visible import visible_line

    if sample is None:
        return "silent", Tone.BAD, ""
    value, note = visible_line(show_value(sample.value, signal)), visible_line(sample.note)
    if sample.validity is Validity.VALID:
        return value, Tone.STRONG, note
    if sample.validity is Validity.STALE:
        return value, Tone.DOUBT, note or "stale"
    return "no measurement", Tone.BAD, note


def _age(got: "Got", sample: "Sample | None") -> str:
    from hil.cli.age import show_age

    return "" if sample is None else f"{show_age(got.now - sample.since)} old"


def _octets(got: "Got", signal: "Signal", sample: "Sample") -> str:
    """Say which octets of its datagram a value is."""
    from hil.wire.dissection import dissect
    from hil.wire.layout import Codec

    node = next(node for node in got.rack.nodes if node.name == signal.node)
    for layout in node.layouts:
        codec = Codec(layout, node)
        if codec.decode(sample.raw) is None:
            continue
        for part in dissect(codec, sample.raw):
            if part.name == signal.name:
                last = part.offset + part.size - 1
                where = f"octet {last}" if part.size == 1 else f"octets {part.offset} to {last}"
                return f"{part.raw} in {where}{f', {part.bits}' if part.bits else ''}"
    return ""


def _datagrams(got: "Got") -> "Iterator[Line]":
    from hil.core.count import counted
    from hil.report.line import Tone
    from hil.report.visible import visible_line

    raws = {(sample.signal.partition(".")[0], sample.raw) for sample in got.samples.values()}
    spoken = {node.name for node in got.rack.nodes if not node.address.port}
    for node, raw in sorted(raws):
        line = visible_line(raw.decode("utf-8", "backslashreplace"))
        shown = line if node in spoken else raw.hex(" ")
        head = f"{node}, {counted(len(raw), 'octet')}: "
        yield ((head, Tone.PLAIN), (shown, Tone.QUIET))


def _trouble(got: "Got") -> "Iterator[Line]":
    from hil.report.line import Tone

    for node, why in got.impostors.items():
        yield ((f"{node} is not the node it must be: ", Tone.BAD), (why, Tone.PLAIN))
    for node, why in got.silent.items():
        yield ((f"{node} is silent: ", Tone.BAD), (why, Tone.PLAIN))
    if got.silent and got.rack.software is not None:
        hint = "`hil nodes` in another terminal serves this bench's software nodes; --virtual has its own"
        yield ((f"    try: {hint}", Tone.QUIET),)
