"""One node's counters: which reading is new, what was lost, and when the node booted.

sequence   a window of the last 64 readings tells new, duplicate and late ones apart, as the
           anti-replay window of RFC 4303 §3.4.3 does; after 10 s of silence it starts afresh
           without boots, counting that begins again is a reboot
boots      any other boot count than before is a reboot
uptime     a 32-bit count wraps (milliseconds after 49.7 days).  Falling is a wrap if the modular
           difference is about the time that passed, else a reboot, whatever the boot count says
"""

from enum import Enum
from typing import NamedTuple, Protocol

from hil.core.instant import SECOND, Duration, Instant, show_duration
from hil.wire.decoded import Head

_WINDOW = 64
_ALL_SEEN = (1 << _WINDOW) - 1
_SILENCE = 10 * SECOND
_SLACK = SECOND
_BEGINNING = 3


class Spans(Protocol):
    """How far counters count before they wrap: readings, and nanoseconds of uptime."""

    @property
    def sequence_span(self) -> int: ...
    @property
    def uptime_span(self) -> int: ...


class Kind(Enum):
    """What a datagram's sequence number makes of it."""

    NEW = "new"
    DUPLICATE = "duplicate"
    LATE = "late"


class Judgement(NamedTuple):
    """What the counters say: how new the datagram is, and in words why the node has rebooted.

    `since` is when the node was last heard before it rebooted.
    """

    kind: Kind
    reboot: str
    since: Instant | None = None


FINE = Judgement(Kind.NEW, "")
"""A new reading of the same life as the one before."""


class Track:
    """The counters of one node.

    `lost` counts the readings that never came; `booted` is when the node booted, None while that
    is unknown.
    """

    __slots__ = (
        "_again",
        "_boots",
        "_heard",
        "_mask",
        "_next",
        "_sequence",
        "_sequence_at",
        "_uptime",
        "_uptime_at",
        "booted",
        "lost",
    )

    def __init__(self) -> None:
        self.lost = 0
        self.booted: Instant | None = None
        self._boots: int | None = None
        self._heard: Instant | None = None
        self._uptime: int | None = None
        self._uptime_at = Instant(0)
        self._sequence: int | None = None
        self._next = -1  # the sequence number of the next reading, if none is lost
        self._sequence_at = Instant(0)
        self._mask = 0
        # Old readings that count from the beginning: the next, how many, the first's two times.
        self._again = (0, 0, Instant(0), 0)

    def follow(self, spans: Spans, head: Head, at: Instant) -> bool:
        """Take in the reading after the last one, known to be of the same life; False if another.

        This is the short way of `judge` for what nearly every reading is.
        """
        _, sequence, _, _, _, uptime, _, _ = head
        if sequence != self._next or sequence is None:
            return False
        if uptime is not None:
            if self._uptime is None:
                self.booted = Instant(at - uptime)
            elif uptime < self._uptime:
                return False
            self._uptime, self._uptime_at = uptime, at
        if self._mask != _ALL_SEEN:
            self._mask = (self._mask << 1 | 1) & _ALL_SEEN
        self._sequence, self._sequence_at, self._heard = sequence, at, at
        self._next = (sequence + 1) % spans.sequence_span
        return True

    def judge(self, spans: Spans, head: Head, at: Instant) -> Judgement:
        """Take in the counters of one datagram that arrived at `at`."""
        _, sequence, _, _, _, uptime, boots, _ = head
        before, self._heard = self._heard, at
        reboot = ""
        if boots is not None and boots != self._boots:
            if self._boots is not None:
                reboot = f"boot count {boots}, was {self._boots}"
            self._boots = boots
        back = 0 if sequence is None else self._steps_back(sequence, spans.sequence_span, at)
        if not reboot and uptime is not None and self._uptime is not None:
            overtaken = back > 0 or (sequence is None and boots is not None)
            reboot = self._fallen(uptime, spans.uptime_span, at, old=overtaken)
        if not reboot and boots is None and sequence is not None:
            reboot = self._restarted(head, spans.sequence_span, back, at)
            before = self._sequence_at if reboot else before
        if reboot:
            self._sequence, self.booted, self._uptime = None, at, None
        elif back > 0:
            return self._old(back)
        if uptime is not None:
            self._keep_time(uptime, at)
        if sequence is not None:
            self._advance(sequence, spans.sequence_span, at)
        return Judgement(Kind.NEW, reboot, before) if reboot else FINE

    def _steps_back(self, sequence: int, span: int, at: Instant) -> int:
        """Return 1 for the newest reading again, more for older ones, 0 for a new one."""
        if self._sequence is None or at - self._sequence_at > _SILENCE:
            return 0
        steps = (self._sequence - sequence) % span
        return steps + 1 if steps < min(_WINDOW, span // 2) else 0

    def _old(self, back: int) -> Judgement:
        bit = 1 << back - 1
        if self._mask & bit:
            return Judgement(Kind.DUPLICATE, "")
        self._mask |= bit
        self.lost -= 1
        return Judgement(Kind.LATE, "")

    def _advance(self, sequence: int, span: int, at: Instant) -> None:
        steps = 0 if self._sequence is None else (sequence - self._sequence) % span
        if 0 < steps < span // 2:
            self.lost += steps - 1
            self._mask = (self._mask << steps | 1) & _ALL_SEEN
        else:
            self._mask = _ALL_SEEN  # what came before this one is not waited for
        self._sequence, self._sequence_at = sequence, at
        self._next = (sequence + 1) % span

    def _restarted(self, head: Head, span: int, back: int, at: Instant) -> str:
        """Say how the sequence shows a reboot: it counts from the beginning again.

        Close to its beginning it looks like old readings that come twice: three in a row tell,
        unless they were held up somewhere and come twice as fast as the node sent them.
        """
        _, sequence, _, _, _, uptime, _, _ = head
        last = self._sequence
        if last is None or sequence is None:
            return ""
        up = uptime or 0
        if back > 0:
            following, count, began, up_then = self._again
            if count == 0 or sequence != following:
                count, began, up_then = (0 if sequence <= 1 else -1), at, up
            self._again = (sequence + 1, count + 1, began, up_then)
            again = count + 1 >= _BEGINNING and 2 * (at - began) >= up - up_then
        else:
            self._again = (0, 0, at, 0)
            far = uptime is None and (sequence - last) % span >= span // 2
            again = far and sequence < _WINDOW and span > 4 * _WINDOW
        if again:
            self._again = (0, 0, at, 0)
        return f"readings count from {sequence} again, were at {last}" if again else ""

    def _keep_time(self, uptime: int, at: Instant) -> None:
        if self._uptime is None:
            self.booted = Instant(at - uptime)
        self._uptime, self._uptime_at = uptime, at

    def _fallen(self, uptime: int, span: int, at: Instant, old: bool) -> str:
        """Say how the uptime shows a reboot; empty where it does not."""
        before = self._uptime or 0
        passed = at - self._uptime_at
        told = f"up for {show_duration(Duration(uptime))}, was {show_duration(Duration(before))}"
        slack = _SLACK + passed // 10
        if uptime >= before:
            return told if uptime + slack < passed < span else ""
        gone = (uptime - before) % span
        off = abs((passed - gone + span // 2) % span - span // 2)
        if before - uptime > span // 2 and off <= slack:
            return ""
        if old and passed + before - uptime <= _SLACK:
            return ""
        return told
