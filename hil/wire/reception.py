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
from hil.wire.decoded import Head
from hil.wire.firmware import satisfies
from hil.wire.layout import Codec
from hil.wire.look import Look, Origin
from hil.wire.rack import Carries, Node
from hil.wire.timers import Timer, Timers
from hil.wire.track import FINE, Kind, Track

_ASKED = 16  # read requests remembered per reading layout

Say = Callable[[Observation], None]


class _Stream:
    """One reading layout of the node, and what is known about its arrivals.

    `ageing` are the timers that notice when nothing comes, each with how long it waits.  `life`
    takes the octets out of a reading that say who sends it and in which life; `living` are those
    of the last one, and `counted` says whether lives and readings are counted.
    """

    __slots__ = ("ageing", "asked", "codec", "counted", "head", "life", "living", "origin")

    def __init__(self, codec: Codec, node: Node) -> None:
        self.codec = codec
        self.head = codec.head
        self.asked: deque[Instant] = deque(maxlen=_ASKED)
        self.origin = Origin(codec, node)
        self.ageing: list[tuple[Timer, Duration]] = []
        self.counted = codec.boots_span > 0 and codec.sequence_span > 0
        self.life = _life_of(codec, node)
        self.living: object = None


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
            if head is None:
                continue
            same = stream.counted and stream.life(payload) == stream.living
            follows = same and self.track.follow(stream.codec, head, now)
            if not follows and not self._is_good(stream, head, payload, now):
                return True
            since = self._since(stream, now) if stream.asked else now
            for timer, age in stream.ageing:
                timer.set(Instant(now + age))
            self._say(Look(stream.origin, payload, since, now, head.note, self.track.booted))
            return True
        return False

    def _is_good(self, stream: _Stream, head: Head, payload: bytes, now: Instant) -> bool:
        """Look closer at a reading that does not just follow the last one."""
        if not self.is_new(stream.codec, head, payload, now):
            return False
        life = stream.life(payload)
        if life != stream.living:
            stream.living = life
            self._identify(stream.codec, payload, now)
        return True

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
            for stream in self._streams:
                stream.living = None
            self._note(NodeTrouble.REBOOT, now, reboot, payload, heard)
            if self._listening is not None:
                self._listening.set(Instant(now + 1))
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
            text = str(got)
            fits = text == requirement if name == "serial" else satisfies(text, requirement)
            if not fits:
                text = f"{name} is {text or '(empty)'}, wanted {requirement}"
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


def _life_of(codec: Codec, node: Node) -> Callable[[bytes], object]:
    """Return what takes the octets out of a reading that say who sends it and in which life."""
    names = [name for name, _ in _requirements(node)]
    slices = [
        slice(place.offset, place.offset + place.size)
        for place in codec.places
        if place.field.carries in (Carries.NODE, Carries.BOOTS)
        or (place.field.carries is Carries.PLAIN and place.field.name in names)
    ]
    return itemgetter(*slices, slice(0, 0))
