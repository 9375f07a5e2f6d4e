"""Who is at the other end of a console: asked first, and before that nothing else is said.

A node may also say it by itself, in the line that it prints when it has booted.
A port's number moves when adapters are plugged in another order, and the console of one node is
then that of another.  So a node that can say who it is must have said so before any command goes
there; one that says something else is never commanded.
"""

import re
from collections.abc import Callable, Mapping

from hil.core.instant import SECOND, Duration, Instant, show_duration
from hil.core.observation import Confirmed, NodeNote, NodeTrouble, Observation, Unconfirmed
from hil.wire.identity import NAMES, declared, identity_problem
from hil.wire.rack import Node
from hil.wire.timers import Timer, Timers

AGAIN = Duration(SECOND // 2)
"""How soon a node that does not say who it is is asked again, at the earliest."""

TRIES = 3
"""After so many questions without an answer, commands are not kept waiting any longer."""

PATIENCE = Duration(3 * SECOND)
"""How long an inquiry waits, as the roll call does."""


class Naming:
    """What is known of who the node is.

    `ask` puts the question, `names` are the rack's nodes by serial number.  `known` is whether the
    node has said who it is, `refusal` why it is not to be commanded, `facts` what it told;
    `boots` returns how often it has booted, where that is known.
    """

    def __init__(
        self,
        node: Node,
        timers: Timers,
        say: Callable[[Observation], None],
        ask: Callable[[Instant], None],
        names: Mapping[str, str],
        *,
        asks: bool,
        boots: Callable[[], str | None] = lambda: None,
    ) -> None:
        self._node, self._say, self._ask, self._names = node, say, ask, names
        self._boots = boots
        self._asks = asks
        self.known = not asks
        self.refusal = ""
        self.facts: dict[str, str] = {}
        self._tries = self._asked = 0
        self._again = Timer(timers, self._ask_again)
        self._patience = Timer(timers, self._run_out)
        self._inquired: Instant | None = None

    def forget(self) -> None:
        """The node has rebooted: it must say once more who it is."""
        self.known = not self._asks and not self.refusal
        self._tries = 0

    def answered(self, match: re.Match[str], raw: bytes, now: Instant) -> bool:
        """Take the node's own words for who it is; return whether it is who it must be."""
        self._tries = 0
        self._again.clear()
        groups = match.groupdict()
        self.facts = {name: groups[name].strip() for name in NAMES if groups.get(name)}
        missing = [name for name in declared(self._node) if name not in self.facts]
        problem = f"it does not tell its {' and '.join(missing)}" if missing else ""
        for name, got in self.facts.items():
            problem = problem or identity_problem(self._node, name, got)
        if problem:
            self._refuse(problem, raw, now)
            return False
        self.known, self.refusal = True, ""
        self._confirm(now)
        return True

    def introduced(self, told: Mapping[str, str], raw: bytes, now: Instant) -> None:
        """Take what a boot line told of who the node is; another node's is a refusal.

        Where the tool asks, the answer counts, and a boot line alone confirms nothing.
        """
        if not told:
            return
        self.facts = dict(told)
        problems = [identity_problem(self._node, name, got) for name, got in told.items()]
        problem = next(filter(None, problems), "")
        if problem:
            self._refuse(problem, raw, now)
        elif not self._asks:
            self.known, self.refusal = True, ""

    def unanswered(self, why: str, at: Instant) -> str:
        """Note that the question was not answered; return why commands wait no longer, if so."""
        self._tries += 1
        self._again.set(Instant(at + max(self._node.answer_within, AGAIN)))
        if self._tries != TRIES:
            return self.refusal
        self.refusal = f"the console of {self._node.name} does not say who it is: {why}"
        self._note(NodeTrouble.UNANSWERED, at, self.refusal)
        return self.refusal

    def inquire(self, now: Instant) -> None:
        """Make sure who it is; answered by Confirmed or Unconfirmed."""
        self._inquired, self._asked = now, int(self._asks)
        if not self._asks:
            self._confirm(now)
            return
        self._patience.set(Instant(now + PATIENCE))
        self._ask(now)

    def _refuse(self, problem: str, raw: bytes, now: Instant) -> None:
        name = self._node.name
        other = self._names.get(self.facts.get("serial", ""), name)
        who = f"answers as {other}" if other != name else "is another node's"
        self.known, self.refusal = False, f"console of {name} {who}: {problem}"
        self._patience.clear()
        self._inquired = None
        self._note(NodeTrouble.IDENTITY, now, self.refusal, raw)

    def _confirm(self, now: Instant) -> None:
        begun, self._inquired = self._inquired, None
        self._patience.clear()
        if begun is not None:
            boots, took = self._boots(), Duration(now - begun)
            facts = (*self.facts.items(), *([("boots", boots)] if boots else []))
            name, asked = self._node.name, self._asked
            self._say(Confirmed(node=name, at=now, facts=facts, asked=asked, took=took))

    def _ask_again(self, due: Instant, now: Instant) -> None:
        self._again.clear()
        self._asked += 1
        self._ask(now)

    def _run_out(self, due: Instant, now: Instant) -> None:
        self._patience.clear()
        self._inquired = None
        detail = f"no answer on {self._node.address} within {show_duration(PATIENCE)}"
        self._say(Unconfirmed(node=self._node.name, at=due, detail=detail))

    def _note(self, trouble: NodeTrouble, at: Instant, text: str, raw: bytes = b"") -> None:
        self._say(NodeNote(node=self._node.name, trouble=trouble, at=at, text=text, raw=raw))
