"""Making sure who answers at a CoAP node's address.

    begin(now) ──▶ GET of what tells it, again and again ──▶ all told      ──▶ Confirmed
                                                        └──▶ not in time   ──▶ Unconfirmed

A node that tells nothing about itself is only asked whether it is there: by a GET that it may answer
as it likes, or by a ping (RFC 7252 §4.3) where it has nothing to read.  Another node is neither confirmed nor unconfirmed: that is told as a conflict.
"""

from collections.abc import Callable, Mapping

from hil.core.instant import Duration, Instant, show_duration
from hil.core.observation import Confirmed, NodeNote, NodeTrouble, Unconfirmed
from hil.wire.confirming import PATIENCE, SHORTEST
from hil.wire.rack import Node
from hil.wire.reception import Say
from hil.wire.timers import Timer, Timers


class Introduction:
    """The question who one node is, one at a time.

    `ask` asks for these facts; for none of them, whether the node is there.
    """

    def __init__(
        self,
        node: Node,
        wanted: frozenset[str],
        timers: Timers,
        say: Say,
        ask: Callable[[frozenset[str], Instant], None],
    ) -> None:
        self._node, self._wanted, self._say, self._ask = node, wanted, say, ask
        self._missing = wanted
        self._timer = Timer(timers, self._again)
        self.began: Instant | None = None
        """When the open question was put; None where none is open."""
        self._end = Instant(0)
        self._asked = 0

    def begin(self, now: Instant) -> None:
        """Ask who it is; a question that is still open is asked anew."""
        self.began, self._end = now, Instant(now + PATIENCE)
        self._missing, self._asked = self._wanted, 0
        self._put(now)

    def hear(self, told: Mapping[str, str], all_facts: Mapping[str, str], at: Instant) -> None:
        """Take in what the node told in answer to a request that left since the question."""
        if self.began is None:
            return
        self._missing -= told.keys()
        if not self._missing:
            self._confirm(all_facts, at)

    def drop(self) -> None:
        """Forget the question: another node answers."""
        self.began = None
        self._timer.clear()

    def _put(self, now: Instant) -> None:
        self._asked += 1
        pause = max(self._node.answer_within, SHORTEST)
        self._timer.set(min(Instant(now + pause + 1), self._end))
        self._ask(self._missing, now)

    def _again(self, due: Instant, now: Instant) -> None:
        if self.began is None:
            return
        if due >= self._end:
            self.drop()
            what = f" what tells its {' and '.join(sorted(self._missing))}" if self._missing else ""
            detail = f"no answer{' to' if what else ''}{what} from {self._node.address}"
            detail += f" within {show_duration(PATIENCE)}"
            self._say(Unconfirmed(node=self._node.name, at=due, detail=detail))
            return
        if self._asked == 1:
            within = show_duration(self._node.answer_within)
            text = f"the first of these requests was not answered within {within}; it is repeated"
            trouble = NodeTrouble.UNANSWERED
            self._say(NodeNote(node=self._node.name, trouble=trouble, at=due, text=text))
        self._put(now)

    def _confirm(self, all_facts: Mapping[str, str], at: Instant) -> None:
        began = self.began
        assert began is not None
        self.drop()
        name, took, asked = self._node.name, Duration(at - began), self._asked
        facts = tuple(all_facts.items())
        self._say(Confirmed(node=name, at=at, facts=facts, asked=asked, took=took))
