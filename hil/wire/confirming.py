"""Making sure who answers at a node's address.

    begin(now) ──▶ `read`, again and again ──▶ a reading that tells it ──▶ Confirmed
                                        └──▶ none within PATIENCE      ──▶ Unconfirmed

A node that cannot be asked is waited for where it speaks by itself.  A request without an answer
is noted: nothing is asked again in silence.  Readings of a board that is not the node it must be
confirm nothing; the conflict is told when it is seen, and ends the run.
"""

from collections.abc import Callable, Sequence

from hil.core.instant import MILLISECOND, SECOND, Duration, Instant, show_duration
from hil.core.observation import Confirmed, NodeNote, NodeTrouble, Observation, Unconfirmed
from hil.wire.identity import declared, facts, identity_names
from hil.wire.layout import Codec
from hil.wire.rack import Node
from hil.wire.timers import Timer, Timers

PATIENCE = Duration(3 * SECOND)
"""How long is waited for a node that boots, as in the roll call."""

SHORTEST = Duration(20 * MILLISECOND)
"""A node that answers faster is not asked more often than that."""


class Confirming:
    """The question who one node is, asked over and over; one at a time.

    `ask` sends `read` and returns why it cannot; None for a node that cannot be asked.  `attend`
    says whether readings are to be shown to `hear`.
    """

    def __init__(
        self,
        node: Node,
        codecs: Sequence[Codec],
        timers: Timers,
        say: Callable[[Observation], None],
        ask: Callable[[Instant], str] | None,
        attend: Callable[[bool], None],
    ) -> None:
        self._node, self._say, self._ask, self._attend = node, say, ask, attend
        self._speaks = node.listen is not None or node.readings_to is not None
        self._told = {codec: frozenset(identity_names(codec)) for codec in codecs}
        self._wanted = frozenset().union(*self._told.values()) & frozenset(declared(node))
        self._missing: frozenset[str] = frozenset()
        self._timer = Timer(timers, self._again)
        self._open = self._answered = False
        self._facts: dict[str, str] = {}
        self._pause = SHORTEST
        self._began = self._end = Instant(0)
        self._asked = 0

    def begin(self, now: Instant) -> None:
        """Ask who it is; a question that is still open is asked anew."""
        self._open, self._answered, self._asked = True, False, 0
        self._began, self._end = now, Instant(now + PATIENCE)
        self._missing, self._facts = self._wanted, {}
        self._pause = max(self._node.answer_within, SHORTEST)
        if self._ask is None and not self._speaks:
            self._confirm(now)  # it speaks only when it is driven: there is nothing to hear
            return
        self._attend(True)
        self._put(now)

    def hear(self, codec: Codec, payload: bytes, now: Instant) -> None:
        """Take a good reading of the node."""
        if not self._open:
            return
        self._facts |= facts(codec, payload)
        self._missing -= self._told.get(codec, frozenset())
        if not self._missing:
            self._confirm(now)

    def answered(self) -> None:
        """Learn that the node answered a `read`, whether or not with a reading."""
        self._answered = True

    def _close(self) -> None:
        self._open = False
        self._timer.clear()
        self._attend(False)

    def _put(self, now: Instant) -> None:
        if self._ask is not None and not self._ask(now):
            self._asked += 1
        self._timer.set(min(Instant(now + self._pause + 1), self._end))

    def _again(self, due: Instant, now: Instant) -> None:
        if not self._open:
            return
        if self._ask is not None and not self._answered and self._asked == 1:
            within = show_duration(self._node.answer_within)
            text = f"the first of these requests was not answered within {within}; it is repeated"
            note = NodeNote(node=self._node.name, trouble=NodeTrouble.UNANSWERED, at=due, text=text)
            self._say(note)
        if due >= self._end:
            self._fail(due)
            return
        self._pause = Duration(2 * self._pause)
        self._put(now)

    def _confirm(self, now: Instant) -> None:
        self._close()
        facts = tuple(self._facts.items())
        took = Duration(now - self._began)
        name = self._node.name
        self._say(Confirmed(node=name, at=now, facts=facts, asked=self._asked, took=took))

    def _fail(self, now: Instant) -> None:
        self._close()
        address, within = self._node.address, show_duration(PATIENCE)
        what = f"no reading from {address} within {within}"
        if self._answered:
            what += ", although it answers"
        elif self._facts:
            what = f"no reading from {address} tells its {' and '.join(sorted(self._missing))}"
        self._say(Unconfirmed(node=self._node.name, at=now, detail=what))
