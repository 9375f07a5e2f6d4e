"""Readings: what a node says by itself, each taken once.

When was the quantity so?  A reading that was asked for shows a moment between the `read` request
leaving and its arrival; any other shows the moment of its arrival.

A sample from within a signal's warm-up is STALE (`warming up`): not good, not bad, no fault.  A
signal of which nothing comes for its `stale_after` gets one STALE sample (`nothing for …`).
"""

from collections import deque
from collections.abc import Callable
from operator import itemgetter

from hil.core.instant import Duration, Instant, show_duration
from hil.core.observation import NodeNote, NodeTrouble, Observation, Samples
from hil.core.signal import Sample, Validity, Value
from hil.wire.firmware import satisfies
from hil.wire.layout import Codec, Head
from hil.wire.look import Look, Origin
from hil.wire.rack import Carries, Node
from hil.wire.timers import Timer, Timers
from hil.wire.track import FINE, Kind, Track

_ASKED = 16  # read requests remembered per reading layout

Say = Callable[[Observation], None]


class _Stream:
    """One reading layout of the node, and what is known about its arrivals.

    `ageing` are the timers that notice when nothing comes, each with how long it waits.
    `identity` takes the octets out of a reading that say who the node is; `shown` are the last.
    """

    __slots__ = ("ageing", "asked", "codec", "head", "identity", "origin", "shown")

    def __init__(self, codec: Codec, node: Node) -> None:
        self.codec = codec
        self.head = codec.head
        self.asked: deque[Instant] = deque(maxlen=_ASKED)
        self.origin = Origin(codec, node)
        self.ageing: list[tuple[Timer, Duration]] = []
        self.identity = _identity_of(codec, node)
        self.shown: object = None


class Reception:
    """Takes the readings of one node; `track` holds the node's counters.

    A node that has rebooted is listened to again by `listening`, if it can be listened to.
    """

    def __init__(
        self, node: Node, codecs: list[Codec], timers: Timers, say: Say, listening: Timer | None
    ) -> None:
        self.node = node
        self.track = Track()
        self._number = node.number
        self._say, self._listening = say, listening
        self._told: dict[str, Value] = {}
        self._streams = [_Stream(codec, node) for codec in codecs]
        self._group_ageing(timers)

    def asked(self, at: Instant) -> None:
        """Learn that a request for a reading left at `at`."""
        for stream in self._streams:
            stream.asked.append(at)

    def receive(self, payload: bytes, now: Instant) -> bool:
        """Take in a datagram if it is a reading; say whether it is one."""
        for stream in self._streams:
            head = stream.head(payload)
            if head is not None:
                if self.is_new(stream.codec, head, payload, now):
                    self._reading(stream, head, payload, now)
                return True
        return False

    def _group_ageing(self, timers: Timers) -> None:
        """Group the signals that arrive together and go stale together: one timer for each."""
        groups: dict[tuple[tuple[int, ...], Duration], list[str]] = {}
        for signal in self.node.signals:
            if signal.stale_after is None:
                continue
            carriers = tuple(
                index
                for index, stream in enumerate(self._streams)
                if signal.path in stream.codec.signals
            )
            groups.setdefault((carriers, signal.stale_after), []).append(signal.path)
        for (carriers, age), paths in groups.items():
            timer = Timer(timers, self._staleness(paths, age))
            for index in carriers:
                self._streams[index].ageing.append((timer, age))

    def _staleness(self, paths: list[str], age: Duration) -> Callable[[Instant, Instant], None]:
        """Return what says that these signals have gone stale."""
        note = f"nothing for {show_duration(age)}"

        def grow_stale(due: Instant, now: Instant) -> None:
            samples = [Sample(path, None, Validity.STALE, due, due, note) for path in paths]
            self._say(Samples(self.node.name, samples))

        return grow_stale

    def _reading(self, stream: _Stream, head: Head, payload: bytes, now: Instant) -> None:
        if stream.identity is not None:
            shown = stream.identity(payload)
            if shown != stream.shown:
                stream.shown = shown
                self._identify(stream.codec, payload, now)
        since = self._since(stream, now) if stream.asked else now
        for timer, age in stream.ageing:
            timer.set(now + age)
        self._say(Look(stream.origin, payload, since, now, head.note, self.track.booted))

    def is_new(self, codec: Codec, head: Head, payload: bytes, now: Instant) -> bool:
        """Note what is odd about a datagram's counters; say whether it may be used."""
        number = head.node
        if number != self._number and number is not None:
            text = f"says it is node {number}; {self.node.name} is {self._number}"
            self._note(NodeTrouble.STRAY, now, text, payload)
            return False
        judged = self.track.judge(codec, head, now)
        if judged is FINE:
            return True
        kind, reboot, heard = judged
        if reboot:
            self._note(NodeTrouble.REBOOT, now, reboot, payload, heard)
            if self._listening is not None:
                self._listening.set(now + 1)
        if kind is Kind.NEW:
            return True
        if kind is Kind.DUPLICATE:
            text = f"reading {head.sequence} came twice"
            self._note(NodeTrouble.DUPLICATE, now, text, payload)
        else:
            text = f"reading {head.sequence} came after a newer one"
            self._note(NodeTrouble.STRAY, now, text, payload)
        return False

    def _since(self, stream: _Stream, now: Instant) -> Instant:
        """Return when the reading was asked for: the oldest request that may still be served."""
        oldest = now - 2 * self.node.answer_within
        while stream.asked:
            asked = stream.asked.popleft()
            if asked >= oldest:
                return min(asked, now)
        return now

    def _identify(self, codec: Codec, payload: bytes, now: Instant) -> None:
        """Compare what a node says it is with what it must be; say so once for each answer."""
        plain = codec.plain(payload)
        for name, requirement in _requirements(self.node):
            got = plain.get(name)
            if got is None or self._told.get(name) == got:
                continue
            self._told[name] = got
            shown = str(got)
            fits = shown == requirement if name == "serial" else satisfies(shown, requirement)
            if not fits:
                text = f"{name} is {shown or '(empty)'}, wanted {requirement}"
                self._note(NodeTrouble.IDENTITY, now, text, payload)

    def _note(
        self,
        trouble: NodeTrouble,
        at: Instant,
        text: str,
        raw: bytes = b"",
        since: Instant | None = None,
    ) -> None:
        name = self.node.name
        self._say(NodeNote(node=name, trouble=trouble, at=at, text=text, raw=raw, since=since))


def _requirements(node: Node) -> list[tuple[str, str]]:
    """Return what a node must show, by the names of its plain fields."""
    wanted = (("serial", node.identity.serial), ("firmware", node.identity.firmware))
    return [(name, requirement) for name, requirement in wanted if requirement]


def _identity_of(codec: Codec, node: Node) -> Callable[[bytes], object] | None:
    """Return what takes the octets out of a reading that say who the node is, if any do."""
    names = [name for name, _ in _requirements(node)]
    slices = [
        slice(place.offset, place.offset + place.size)
        for place in codec.places
        if place.field.carries is Carries.PLAIN and place.field.name in names
    ]
    return itemgetter(*slices) if slices else None
