"""What a relay does to datagrams, as a machine: delay, loss, duplication, reordering, damage, rate.

    receive   a datagram of a node, on its way to it or from it
    take_sends  what goes on now: none, one or two of it, whole or damaged, in the order it leaves

Chance comes from the seed alone, in a stream of its own for each node and way, so that what
happens to one node does not depend on the traffic of another.
"""

import heapq
from collections.abc import Iterable, Sequence
from operator import itemgetter
from typing import NamedTuple

from hil.bus.likelihood import likelihood
from hil.core.chance import Chance
from hil.core.instant import SECOND, Instant, earliest
from hil.wire.disturbance import Disturbance, RelayScript, Way

PEACE = Disturbance()


class Passing(NamedTuple):
    """A datagram on its way; `ticket` is whatever the owner needs to send it on."""

    node: str
    way: Way
    payload: bytes
    ticket: object = None


class Relay:
    """The machine of all nodes and both ways.

    While it is calm everything passes unharmed and at once.  Raises ValueError for a probability
    outside 0 to 1.
    """

    def __init__(self, script: RelayScript, nodes: Iterable[str], start: Instant) -> None:
        self._start, self._calm, self._script = start, False, script.script
        self._lanes = {
            (node, way): _Lane(Chance(script.seed, 1 + 2 * number + place))
            for number, node in enumerate(nodes)
            for place, way in enumerate(Way)
        }
        self.disturb()
        self._under_way: list[tuple[int, int, Passing]] = []
        self._serial = 0
        self._now = start

    def calm(self) -> None:
        """Let everything pass unharmed from now on.

        What is still held leaves at once, in its order, so that nothing older arrives after a
        command that makes the rack safe.
        """
        self._calm = True
        self._under_way = [
            (int(self._now), serial, thing)
            for serial, (_, _, thing) in enumerate(sorted(self._under_way, key=itemgetter(0, 1)))
        ]
        self._serial = len(self._under_way)

    def disturb(self, script: Sequence[Disturbance] | None = None) -> None:
        """Be calm no longer, and do what the script says, or this instead of it."""
        self._calm = False
        for (node, way), lane in self._lanes.items():
            lane.set(
                each
                for each in (self._script if script is None else script)
                if _concerns(each, node, way)
            )

    def receive(self, thing: Passing, now: Instant) -> None:
        """Take a datagram; one of a node it does not know passes unharmed."""
        self._now = max(now, self._now)
        lane = self._lanes.get((thing.node, thing.way))
        if self._calm or lane is None:
            self._hold(now, thing)
            return
        for at, payload in lane.pass_on(thing.payload, now, now - self._start):
            self._hold(at, thing._replace(payload=payload))

    def tick(self, now: Instant) -> None:
        """Let time reach `now`."""
        self._now = max(now, self._now)

    def next_wakeup(self) -> Instant | None:
        """Return when the next datagram leaves."""
        return earliest(*(Instant(at) for at, _, _ in self._under_way[:1]))

    def take_sends(self) -> tuple[Passing, ...]:
        """Hand over what leaves by now, in order."""
        sends = []
        while self._under_way and self._under_way[0][0] <= self._now:
            sends.append(heapq.heappop(self._under_way)[2])
        return tuple(sends)

    def _hold(self, at: int, thing: Passing) -> None:
        self._serial += 1
        heapq.heappush(self._under_way, (at, self._serial, thing))


class _Lane:
    """One node's traffic one way."""

    def __init__(self, chance: Chance) -> None:
        self._chance = chance
        self._free = self._last = 0
        self._script: list[Disturbance] = []
        self._likely: dict[Disturbance, tuple[int, ...]] = {}

    def set(self, script: Iterable[Disturbance]) -> None:
        """Do this from now on; chance goes on where it was."""
        self._script = list(script)
        self._likely = {
            each: tuple(
                likelihood(part)
                for part in (each.loss, each.truncate, each.corrupt, each.duplicate, each.reorder)
            )
            for each in self._script
        }

    def pass_on(self, payload: bytes, now: int, elapsed: int) -> list[tuple[int, bytes]]:
        """Return when what leaves.

        Every datagram draws the same number of chances whatever becomes of it, so that a changed
        probability changes only what it is about.
        """
        chance = self._chance
        drawn = [chance.word() for _ in range(5)]
        jitter, place, bit = chance.word(), chance.word(), chance.word()
        now_on = next((each for each in reversed(self._script) if _in_force(each, elapsed)), PEACE)
        if now_on is PEACE:
            return [(max(now, self._last), payload)]
        loss, cut, bad, twice, aside = (
            word < likely for word, likely in zip(drawn, self._likely[now_on], strict=True)
        )
        at = self._leaves(now_on, len(payload), now) + (jitter * (now_on.jitter + 1) >> 64)
        if loss:
            return []
        if cut and payload:
            payload = payload[: place * len(payload) >> 64]
        if bad and payload:
            payload = _flipped(payload, bit * len(payload) * 8 >> 64)
        if aside:
            at += now_on.held
        else:
            at = self._last = max(at, self._last)
        return [(at, payload)] * (2 if twice else 1)

    def _leaves(self, it: Disturbance, octets: int, now: int) -> int:
        if it.rate is None:
            return now + it.delay
        self._free = max(now, self._free) + -(-octets * 8 * SECOND // it.rate)
        return self._free + it.delay


def _flipped(payload: bytes, bit: int) -> bytes:
    damaged = bytearray(payload)
    damaged[bit >> 3] ^= 1 << (bit & 7)
    return bytes(damaged)


def _concerns(it: Disturbance, node: str, way: Way) -> bool:
    return way in it.ways and (not it.nodes or node in it.nodes)


def _in_force(it: Disturbance, elapsed: int) -> bool:
    return it.begin <= elapsed and (it.end is None or elapsed < it.end)
