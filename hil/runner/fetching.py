"""Reading signals once: a machine that waits for one reading of each, and no longer than it must.

done when   every signal has been seen, or its node cannot be
       or   `limit` is over
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from hil.core.count import counted
from hil.core.event import Event
from hil.core.instant import Duration, Instant, after, show_duration
from hil.core.observation import Abort, NodeNote, NodeTrouble, Observation, Samples
from hil.core.signal import Sample, Signal
from hil.wire.rack import Node


@dataclass(slots=True)
class _Heard:
    """What else came from a node than what was asked for."""

    closed: str = ""
    impostor: str = ""
    useless: list[NodeNote] = field(default_factory=list)


class Fetching:
    """Waits for `signals` of `nodes`; `seen` are the samples that came, by the signals' names."""

    def __init__(
        self, nodes: Sequence[Node], signals: Sequence[Signal], start: Instant, limit: Duration
    ) -> None:
        self._nodes = {node.name: node for node in nodes}
        self._wanted = {signal.path: signal for signal in signals}
        self._length = limit
        self._end = after(start, limit)
        self._over = False
        self._heard = {name: _Heard() for name in self._nodes}
        self.seen: dict[str, Sample] = {}
        self.aborted = ""

    @property
    def done(self) -> bool:
        return self._over or not any(self._is_awaited(path) for path in self._wanted)

    @property
    def silent(self) -> dict[str, str]:
        """Return the nodes of which a signal was not seen, each with the reason."""
        missing = dict.fromkeys(
            signal.node for path, signal in self._wanted.items() if path not in self.seen
        )
        return {name: self._silence(self._nodes[name]) for name in missing}

    @property
    def impostors(self) -> dict[str, str]:
        """Return the nodes that are not who they must be, each with what they say."""
        return {name: one.impostor for name, one in self._heard.items() if one.impostor}

    def receive(self, seen: Observation, now: Instant) -> None:
        """Take in what a link or the bench observed."""
        if isinstance(seen, Samples):
            for sample in seen.of(self._wanted):
                self.seen[sample.signal] = sample
        elif isinstance(seen, Abort):
            self.aborted, self._over = seen.reason, True
        elif isinstance(seen, NodeNote) and seen.node in self._heard:
            self._note(self._heard[seen.node], seen)

    def tick(self, now: Instant) -> None:
        """Let time reach `now`."""
        self._over = self._over or now > self._end

    def next_wakeup(self) -> Instant | None:
        """Return when waiting ends: just after the limit, which is inclusive."""
        return None if self.done else Instant(self._end + 1)

    def take_sends(self) -> tuple[()]:
        """Return nothing: the links do the asking."""
        return ()

    def take_events(self) -> list[Event]:
        """Return nothing: nobody keeps a journal of this."""
        return []

    def _is_awaited(self, path: str) -> bool:
        node = self._nodes[self._wanted[path].node]
        return path not in self.seen and not self._heard[node.name].closed and _can_be_asked(node)

    def _note(self, heard: _Heard, note: NodeNote) -> None:
        if note.trouble is NodeTrouble.UNREACHABLE:
            heard.closed = note.text
        elif note.trouble is NodeTrouble.IDENTITY:
            heard.impostor = note.text
        elif note.trouble is not NodeTrouble.REBOOT:
            heard.useless.append(note)

    def _silence(self, node: Node) -> str:
        heard = self._heard[node.name]
        if not _can_be_asked(node):
            return "it can be neither asked nor listened to: its bench file names no way"
        if heard.closed:
            return heard.closed
        text = f"no reading from {node.address} within {show_duration(self._length)}"
        if not heard.useless:
            return text
        last = heard.useless[-1]
        came = counted(len(heard.useless), "datagram")
        shown = f" (hil wire {last.raw.hex()})" if last.raw else ""
        return f"{text}; {came} came that could not be used, the last: {last.text}{shown}"


def _can_be_asked(node: Node) -> bool:
    if node.coap is not None or node.console is not None or node.readings_to is not None:
        return True
    listened_to = node.listen is not None and node.renew is not None
    return listened_to or (node.read is not None and node.poll is not None)
