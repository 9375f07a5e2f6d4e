"""Readings: what a node says by itself, each taken once.

When was the quantity so?  A reading that was asked for shows a moment between the `read` request
leaving and its arrival; any other shows the moment of its arrival.

A sample from within a signal's warm-up is STALE (`warming up`): not good, not bad, no fault.  A
signal of which nothing comes for its `stale_after` gets one STALE sample (`nothing for …`).
"""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from hil.core.instant import ZERO, Duration, Instant, show_duration
from hil.core.observation import NodeNote, NodeTrouble, Observation, Samples
from hil.core.signal import Sample, Validity, Value
from hil.wire.firmware import satisfies
from hil.wire.layout import Codec, Decoded
from hil.wire.rack import Node
from hil.wire.timers import Key, Timers
from hil.wire.track import Kind, Track

_ASKED = 16  # read requests remembered per reading layout

Say = Callable[[Observation], None]


class _Stream:
    """One reading layout of the node, and what is known about its arrivals."""

    __slots__ = ("asked", "codec", "decode", "plain", "stale")

    def __init__(self, codec: Codec) -> None:
        self.codec = codec
        self.decode = codec.decode
        self.plain: dict[str, Value] = {}
        self.asked: deque[Instant] = deque(maxlen=_ASKED)
        self.stale: list[tuple[Key, Duration]] = []


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ageing:
    """Signals that go stale together."""

    signals: tuple[str, ...]
    after: Duration


class Reception:
    """Takes the readings of one node; `track` holds the node's counters."""

    def __init__(self, node: Node, codecs: list[Codec], timers: Timers, say: Say) -> None:
        self.node = node
        self.track = Track()
        self._timers, self._say = timers, say
        self._told: dict[str, Value] = {}
        self._streams = [_Stream(codec) for codec in codecs]
        self._warmup = {signal.path: signal.warmup for signal in node.signals if signal.warmup}
        self._longest_warmup = max(self._warmup.values(), default=ZERO)
        self._ageing: list[_Ageing] = []
        self._group_ageing()

    def asked(self, at: Instant) -> None:
        """Learn that a request for a reading left at `at`."""
        for stream in self._streams:
            stream.asked.append(at)

    def receive(self, payload: bytes, now: Instant) -> bool:
        """Take in a datagram if it is a reading; say whether it is one."""
        for stream in self._streams:
            decoded = stream.decode(payload)
            if decoded is not None:
                self._reading(stream, decoded, payload, now)
                return True
        return False

    def _group_ageing(self) -> None:
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
            key = (self.node.name, "stale", len(self._ageing))
            self._ageing.append(_Ageing(signals=tuple(paths), after=age))
            for index in carriers:
                self._streams[index].stale.append((key, age))

    def _reading(self, stream: _Stream, decoded: Decoded, payload: bytes, now: Instant) -> None:
        if not self.is_new(stream.codec, decoded, payload, now):
            return
        if decoded.plain != stream.plain:
            stream.plain = decoded.plain
            self._identify(decoded.plain, payload, now)
        since = self._since(stream, now) if stream.asked else now
        samples = [
            Sample(signal, value, validity, since, now, note, payload)
            for signal, value, validity, note in decoded.readings
        ]
        booted = self.track.booted
        if booted is not None and now < booted + self._longest_warmup:
            self._warm_up(samples, booted)
        if decoded.note:
            for sample in samples:
                sample.note = f"{sample.note}; {decoded.note}" if sample.note else decoded.note
        for key, age in stream.stale:
            self._timers.set(key, now + age)
        self._say(Samples(self.node.name, samples))

    def is_new(self, codec: Codec, decoded: Decoded, payload: bytes, now: Instant) -> bool:
        """Note what is odd about a datagram's counters; say whether it may be used."""
        if decoded.node is not None and decoded.node != self.node.number:
            text = f"says it is node {decoded.node}; {self.node.name} is {self.node.number}"
            self._note(NodeTrouble.STRAY, now, text, payload)
            return False
        kind, reboot, heard = self.track.judge(codec, decoded, now)
        if reboot:
            self._note(NodeTrouble.REBOOT, now, reboot, payload, heard)
            if self.node.listen is not None and self.node.renew is not None:
                self._timers.set((self.node.name, "listen", 0), now + 1)
        if kind is Kind.DUPLICATE:
            text = f"reading {decoded.sequence} came twice"
            self._note(NodeTrouble.DUPLICATE, now, text, payload)
        elif kind is Kind.LATE:
            text = f"reading {decoded.sequence} came after a newer one"
            self._note(NodeTrouble.STRAY, now, text, payload)
        return kind is Kind.NEW

    def _since(self, stream: _Stream, now: Instant) -> Instant:
        """Return when the reading was asked for: the oldest request that may still be served."""
        oldest = now - 2 * self.node.answer_within
        while stream.asked:
            asked = stream.asked.popleft()
            if asked >= oldest:
                return min(asked, now)
        return now

    def _warm_up(self, samples: list[Sample], booted: Instant) -> None:
        for sample in samples:
            warmup = self._warmup.get(sample.signal, ZERO)
            if sample.at < booted + warmup:
                sample.validity = Validity.STALE
                sample.note = "warming up"

    def _identify(self, plain: dict[str, Value], payload: bytes, now: Instant) -> None:
        """Compare what a node says it is with what it must be; say so once for each answer."""
        wanted = self.node.identity
        for name, requirement in (("serial", wanted.serial), ("firmware", wanted.firmware)):
            got = plain.get(name)
            if got is None or not requirement or self._told.get(name) == got:
                continue
            self._told[name] = got
            shown = str(got)
            fits = shown == requirement if name == "serial" else satisfies(shown, requirement)
            if not fits:
                text = f"{name} is {shown or '(empty)'}, wanted {requirement}"
                self._note(NodeTrouble.IDENTITY, now, text, payload)

    def grow_stale(self, group: int, at: Instant) -> None:
        """Say that the signals of one group have gone stale."""
        ageing = self._ageing[group]
        note = f"nothing for {show_duration(ageing.after)}"
        self._say(
            Samples(
                self.node.name,
                [Sample(path, None, Validity.STALE, at, at, note) for path in ageing.signals],
            )
        )

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
