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
from hil.core.observation import Exchanged, NodeNote, NodeTrouble, Observation, Samples
from hil.core.signal import Sample, Validity, Value
from hil.wire.decoded import Head
from hil.wire.identity import identity_names, identity_problem, shown
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
        self.life = _life_of(codec)
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
        self._doubted = ""
        self._impostor = False
        self._given_up: Instant | None = None
        self.hear: Callable[[Codec, bytes, Instant], None] | None = None
        """Is shown each good reading as well, while somebody wants to know who the node is."""
        self._streams = [_Stream(codec, node) for codec in codecs]
        self._group_ageing(timers)

    def asked(self, at: Instant) -> None:
        """Learn that a request for a reading left at `at`."""
        for stream in self._streams:
            stream.asked.append(at)

    def unanswered(self, asked: Instant) -> None:
        """Learn that the request which left then is given up: no reading belongs to it."""
        for stream in self._streams:
            if asked in stream.asked:
                stream.asked.remove(asked)
                self._given_up = asked

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
            if since < now and head.uptime is not None and self._is_its_own(since):
                self._say(exchanged(self.node.name, stream.codec, since, now, head.uptime))
            for timer, age in stream.ageing:
                timer.set(Instant(now + age))
            self._say(Look(stream.origin, payload, since, now, head.note, self.track.booted))
            if self.hear is not None and not self._impostor:
                self.hear(stream.codec, payload, now)
            return True
        return False

    def _is_good(self, stream: _Stream, head: Head, payload: bytes, now: Instant) -> bool:
        """Look closer at a reading that does not just follow the last one."""
        if not self.is_new(stream.codec, head, payload, now):
            return False
        life = stream.life(payload)
        if life != stream.living:
            stream.living = life if self._identify(stream.codec, payload, now) else None
            return stream.living is not None
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
            self._conflict(codec, text, now, payload)
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

    def _is_its_own(self, asked: Instant) -> bool:
        """Say whether a reading surely belongs to that request: not to one given up before it."""
        late = self._given_up is not None and asked < self._given_up + 5 * self.node.answer_within
        return self.node.listen is None and not late

    def _since(self, stream: _Stream, now: Instant) -> Instant:
        """Return when the reading was asked for: the oldest request that may still be served."""
        oldest = now - 2 * self.node.answer_within
        while stream.asked:
            asked = stream.asked.popleft()
            if asked >= oldest:
                return min(asked, now)
        return now

    def claims(self, payload: bytes) -> bool:
        """Say whether a datagram is a reading with this node's number, whoever sent it."""
        heads = [head for stream in self._streams if (head := stream.head(payload)) is not None]
        return any(head.node == self._number for head in heads)

    def foreign(self, payload: bytes, peer: object, now: Instant) -> str:
        """Say what a datagram from another address is, if it is a reading of this node.

        A second node with its number is a conflict, and noted as one.
        """
        for stream in self._streams:
            head = stream.head(payload)
            if head is None or head.node != self._number:
                continue
            got = stream.codec.plain(payload).get("serial")
            wanted = self.node.identity.serial or shown(self._told.get("serial", ""))
            if got is None or not wanted:
                return f"a reading of node {head.node} came from {peer}"
            if shown(got) == wanted:
                return f"serial {wanted} speaks from {peer} as well"
            text = (
                f"two nodes have the number {head.node}: serial {wanted} at {self.node.address}, "
                f"serial {shown(got)} at {peer}"
            )
            self._conflict(stream.codec, text, now, payload)
            return ""
        return f"datagram from {peer}"

    def _identify(self, codec: Codec, payload: bytes, now: Instant) -> bool:
        """Compare what a node says it is with what it must be; say so once for each answer.

        Returns False for a reading that is not to be used: another node may have sent it.
        """
        plain = codec.plain(payload)
        names = identity_names(codec)
        wrong = False
        for name in names:
            got, before = plain[name], self._told.get(name)
            problem = identity_problem(self.node, name, shown(got))
            wrong = wrong or bool(problem)
            if before == got:
                continue
            text = problem
            if not text and name == "serial" and before is not None:
                text = f"serial is {shown(got)}, was {shown(before)}: another node answers here"
            if text and not self._conflict(codec, text, now, payload):
                return False
            self._told[name] = got
        self._doubted = ""
        if names:
            self._impostor = wrong
        return True

    def _conflict(self, codec: Codec, text: str, now: Instant, payload: bytes) -> bool:
        """Note that it is another node; without a check in the datagram only the second time.

        One flipped bit must not stop a run.
        """
        sure = codec.place(Carries.CRC) is not None or self._doubted == text
        if sure:
            self._note(NodeTrouble.IDENTITY, now, text, payload)
        else:
            self._note(NodeTrouble.STRAY, now, f"{text}; not believed unless told again", payload)
        self._doubted = "" if sure else text
        return sure

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


def exchanged(node: str, codec: Codec, sent: Instant, at: Instant, stamp: int) -> Exchanged:
    """Return what an answer that is stamped with the node's time says about its clock."""
    place = codec.place(Carries.UPTIME)
    assert place is not None
    span, tick = codec.uptime_span, place.field.tick
    return Exchanged(node=node, sent=sent, at=at, stamp=stamp, span=span, tick=tick)


def _life_of(codec: Codec) -> Callable[[bytes], object]:
    """Return what takes the octets out of a reading that say who sends it and in which life."""
    names = identity_names(codec)
    octets = sorted(
        octet
        for place in codec.places
        if place.field.carries in (Carries.NODE, Carries.BOOTS)
        or (place.field.carries is Carries.PLAIN and place.field.name in names)
        for octet in range(place.offset, place.offset + place.size)
    )
    pieces: list[slice] = []
    for octet in octets:
        if pieces and octet <= pieces[-1].stop:
            pieces[-1] = slice(pieces[-1].start, octet + 1)
        else:
            pieces.append(slice(octet, octet + 1))
    return itemgetter(*pieces or [slice(0, 0)])
