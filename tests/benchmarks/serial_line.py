"""A console that babbles: is anything lost, and are deadlines kept meanwhile?

An independent program (tests/wall/talker.py) prints numbered lines at a pseudo-terminal at the
rate of a full line of 115,200 bit/s, 8N1: 11,520 octets per second, and at ten times that.  Beside
it runs a deadline every 37 ms.  Everything is done that a run does with a line: cut, compared with
patterns, told, journalled.
"""

import re
import tempfile
from dataclasses import dataclass
from pathlib import Path

from benchmarks.measure import Figure
from wall.lines import node, rack_of, talking

from hil.bench.rig import open_wall
from hil.core.event import ConsoleLine
from hil.core.instant import MILLISECOND, SECOND, Instant
from hil.report.journal import JournalWriter
from hil.wire.link import Links, Packet

FULL_LINE = 11_520
LASTING = 4 * SECOND
PERIOD = 37 * MILLISECOND
NUMBERED = re.compile(r"\[(\d{9})\] ")


@dataclass
class Babble:
    """What came of listening: octets per second, lines missing, the worst deadline error in ns."""

    rate: float
    lost: int
    error: int


def listen(octets_per_second: int) -> Babble:
    """Listen to a babbling console for a few seconds."""
    with tempfile.TemporaryDirectory() as name, talking(f"babble={octets_per_second}") as peer:
        folder = Path(name)
        rack = rack_of(folder, node(peer.device))
        journal = JournalWriter(folder)
        bench = open_wall(rack)
        start = bench.now()
        links = Links(rack, start)
        due, end = Instant(start + PERIOD), start + LASTING
        lines: list[ConsoleLine] = []
        errors: list[int] = []
        octets, horizon = 0, start
        while horizon < end:
            arrivals, horizon = bench.wait(due)
            for thing, at in ((one.thing, one.at) for one in arrivals):
                if isinstance(thing, Packet):
                    octets += len(thing.payload)
                    links.receive(thing, at)
            links.tick(horizon)
            for packet in links.take_sends():
                links.sent(packet, bench.send(packet))
            links.take_observations()
            told = links.take_lines()
            for line in told:
                journal.record(line)
            lines += told
            while horizon >= due:
                errors.append(bench.now() - due)
                due = Instant(due + PERIOD)
        bench.close()
        journal.close()
    numbers = [int(found[1]) for line in lines if (found := NUMBERED.match(line.text))]
    missing = len(set(range(numbers[0], numbers[-1] + 1)) - set(numbers))
    return Babble(octets / (LASTING / SECOND), missing, max(errors))


def figures() -> list[Figure]:
    found = []
    for times in (1, 10):
        wanted = FULL_LINE * times
        babble = listen(wanted)
        shown = f"a console babbling at {wanted:,} octets/s"
        found += [
            Figure(
                what=f"{shown}: what was read",
                value=f"{babble.rate:,.0f}/s",
                floor=f"{wanted:,}/s",
                ratio=babble.rate / wanted,
                limit=0.98,
                at_least=True,
            ),
            Figure(
                what="  lines lost",
                value=f"{babble.lost}",
                floor="none",
                ratio=float(babble.lost),
                limit=0.0,
            ),
            Figure(
                what="  worst error of a deadline meanwhile",
                value=f"{babble.error / 1e6:.2f} ms",
                floor="5 ms",
                ratio=babble.error / (5 * MILLISECOND),
                limit=1.0,
            ),
        ]
    return found
