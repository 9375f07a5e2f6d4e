"""The roll call before a run: is every node there, is it who it must be, and is it ready?

A machine that sends nothing itself: the links ask the nodes, this one listens.  A node is present
once a reading of it arrived, and ready once no signal that the plans use is still warming up.
Nodes that the plans do not use are waited for only a moment.

    done when  announces were listened to for a round of discovery, where the bench file has one
          and  every node is ready
           or  all required ones are and `GRACE` is over
           or  `LIMIT` is over and none of the present ones is still warming up
           or  `LIMIT` and the longest warm-up are over
"""

from collections.abc import Iterable, Sequence

from hil.core.instant import MILLISECOND, SECOND, ZERO, Duration, Instant, after, show_duration
from hil.core.observation import NodeNote, NodeTrouble, Observation, Samples
from hil.core.signal import Validity
from hil.wire.rack import Node

GRACE = Duration(500 * MILLISECOND)
LIMIT = Duration(3 * SECOND)


class RollCall:
    """Who answered; `wrong` says of every required node that is not as it must be, why."""

    def __init__(
        self,
        nodes: Sequence[Node],
        required: Sequence[str],
        used: Iterable[str],
        start: Instant,
        listening: Duration = ZERO,
    ) -> None:
        """`required` are the names of nodes, `used` the full names of signals.

        For so long as `listening` it goes on in any case: a second board with a node's number may
        still announce itself.
        """
        self._least = after(start, listening)
        self._nodes = {node.name: node for node in nodes}
        self._required = [name for name in self._nodes if name in set(required)]
        signals = {signal.path: signal for node in nodes for signal in node.signals}
        self._warmups = {path: signals[path].warmup for path in used if signals[path].warmup}
        self._grace, self._limit = after(start, GRACE), after(start, LIMIT)
        self._last = after(self._limit, max(self._warmups.values(), default=ZERO))
        self._now = start
        self._heard: dict[str, str] = {}
        self.readings: dict[str, bytes] = {}
        """The octets of the latest reading of each node that spoke."""
        self._impostors: dict[str, str] = {}
        self._warming: dict[str, Instant] = {}
        # A node that can be neither listened to nor asked may only speak when spoken to.
        self.present = {node.name for node in nodes if _cannot_be_called(node)}

    @property
    def done(self) -> bool:
        now = self._now
        if now < self._least:
            return False
        warm = all(now >= end for end in self._warming.values())
        if not warm:
            return now >= self._last
        if now >= self._limit or len(self.present) == len(self._nodes):
            return True
        known = self.present | self._impostors.keys()
        return now >= self._grace and known.issuperset(self._required)

    @property
    def impostors(self) -> dict[str, str]:
        """Return what is wrong with nodes that are not who they must be, in words."""
        return dict(self._impostors)

    @property
    def wrong(self) -> dict[str, str]:
        """Return what is wrong with which required node, in words."""
        found: dict[str, str] = {}
        for name in self._required:
            if name in self._impostors:
                found[name] = self._impostors[name]
            elif name not in self.present:
                found[name] = self._silence(self._nodes[name])
        for path, end in self._warming.items():
            if self._now < end:
                what = f"{path} is still warming up: the node boots again and again"
                found.setdefault(path.partition(".")[0], what)
        return found

    def receive(self, seen: Observation, now: Instant) -> None:
        """Note who spoke."""
        self._now = now
        if isinstance(seen, Samples):
            self.present.add(seen.node)
            if seen.samples and seen.samples[0].raw:
                self.readings[seen.node] = seen.samples[0].raw
            self._warm_up(seen)
        elif isinstance(seen, NodeNote):
            self._heard[seen.node] = seen.text
            if seen.trouble is NodeTrouble.IDENTITY:
                self._impostors[seen.node] = seen.text

    def tick(self, now: Instant) -> None:
        """Let time reach `now`."""
        self._now = now

    def next_wakeup(self) -> Instant | None:
        """Return when waiting ends next."""
        if self.done:
            return None
        ends = [self._least, self._grace, self._limit, self._last, *self._warming.values()]
        return min(end for end in ends if end > self._now)

    def take_sends(self) -> tuple[()]:
        """Return nothing: the links do the asking."""
        return ()

    def _warm_up(self, seen: Samples) -> None:
        """Note until when at most the signals of a reading are warming up.

        It may be a node that says nothing more by itself, so its warm-up is over at the latest
        when the whole of it has passed since a reading from within it.
        """
        for sample in seen.samples:
            warmup = self._warmups.get(sample.signal)
            if warmup is None:
                continue
            if sample.validity is not Validity.STALE:
                self._warming.pop(sample.signal, None)
            elif self._warming.get(sample.signal, sample.at) <= sample.at:
                self._warming[sample.signal] = after(sample.at, warmup)

    def _silence(self, node: Node) -> str:
        heard = self._heard.get(node.name)
        aside = f"; last heard of it: {heard}" if heard else ""
        return f"no reading from {node.address} within {show_duration(LIMIT)}{aside}"


def _cannot_be_called(node: Node) -> bool:
    if node.coap is not None:
        return not node.coap.resources
    if node.console is not None and not node.address.port:
        return node.console.identify is None and node.console.read is None
    listened_to = node.listen is not None and node.renew is not None
    listened_to = listened_to or node.readings_to is not None
    return not listened_to and (node.read is None or node.poll is None)
