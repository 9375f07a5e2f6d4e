"""The rack as somebody sees it who only looks: some of its nodes, asked and moved to nothing.

Looking takes no lock and leaves no mark, so that it can be done while a run is on: a node keeps a
list of those who listen, and its readings go to each of them.  It still is traffic on the segment,
and a node that numbers all its readings by one count shows gaps to everybody else.

    to read once    ask for a reading, again and again until one comes; be no listener
    to watch        listen where that can be done, else ask as often as the bench file says
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace

from hil.bench.bench import Bench
from hil.bench.interrupt import Interrupts
from hil.bench.paced import PacedBench
from hil.bench.rig import open_wall
from hil.bench.terminal import published
from hil.bench.unhurried import UnhurriedBench
from hil.core.instant import MILLISECOND, Duration
from hil.core.signal import Signal
from hil.runner.site import virtual_site
from hil.wire.rack import Node, Rack

ASK_EVERY = Duration(250 * MILLISECOND)
"""How often a reading is asked for again where the bench file does not say."""

DRAIN_EVERY = Duration(20 * MILLISECOND)
"""How long datagrams may wait for somebody who watches; their stamps are the kernel's all the same."""


def reading_rack(rack: Rack, signals: Sequence[Signal]) -> Rack:
    """Return the nodes of these signals, to be read once: no node is asked to remember anybody."""
    return replace(
        rack, nodes=tuple(_read_once(node) for node in _nodes(rack, signals)), relay=None
    )


def watching_rack(rack: Rack, signals: Sequence[Signal]) -> Rack:
    """Return the nodes of these signals, to be watched."""
    return replace(rack, nodes=tuple(_watched(node) for node in _nodes(rack, signals)), relay=None)


@contextmanager
def looking_bench(
    rack: Rack, whole: Rack, interrupts: Interrupts, *, virtual: bool, live: bool
) -> Iterator[Bench]:
    """Open a bench for the nodes of `rack`, which are some of the `whole`.

    A virtual one has the whole rack's nodes in process; with `live` its time keeps step with the
    clock.  Raises BenchError.
    """
    if virtual:
        with virtual_site(whole, interrupts) as site:
            yield PacedBench(site.bench, interrupts.fd) if live else site.bench
        return
    bench = open_wall(rack, interrupts=interrupts, devices=published(rack))
    try:
        yield UnhurriedBench(bench, interrupts.fd, DRAIN_EVERY) if live else bench
    finally:
        bench.close()


def _nodes(rack: Rack, signals: Sequence[Signal]) -> list[Node]:
    wanted = {signal.node for signal in signals}
    return [node for node in rack.nodes if node.name in wanted]


def _read_once(node: Node) -> Node:
    node = _without_line(node)
    if node.read is None or node.coap is not None:
        return node
    return replace(node, poll=node.poll or ASK_EVERY, listen=None, renew=None)


def _watched(node: Node) -> Node:
    node = _without_line(node)
    listened_to = node.listen is not None and node.renew is not None
    if listened_to or node.read is None or node.poll is not None or node.coap is not None:
        return node
    return replace(node, poll=ASK_EVERY)


def _without_line(node: Node) -> Node:
    """Leave the node's console to the run: a serial line has one reader, and opening may reset."""
    if node.console is None or node.address == node.console.address:
        return node
    return replace(node, console=None)
