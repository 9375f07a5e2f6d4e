"""Who a CoAP node says it is, and whether it is still in the same life.

Facts are read as resources, or come along in the payload of one.  A boot count decides about
reboots alone; where there is none an uptime that falls does (hil.wire.track).  That it is another
node is believed when it is told twice: nothing but UDP's checksum guards what was said.
"""

from collections.abc import Mapping
from decimal import Decimal
from typing import NamedTuple

from hil.core.instant import Duration, Instant, show_duration
from hil.core.observation import NodeNote, NodeTrouble
from hil.wire.coap.description import Coap
from hil.wire.coap.number import Unreadable, exact
from hil.wire.decoded import Head
from hil.wire.identity import NAMES, declared, identity_problem
from hil.wire.rack import Node
from hil.wire.reception import Say
from hil.wire.track import Track

_NOTHING = Head(None, None, None, None, None, None, None, "")
_LARGEST = 1 << 62


class _Span(NamedTuple):
    """No counter of a payload wraps."""

    sequence_span: int = 1
    uptime_span: int = 1 << 63


_SPAN = _Span()


class Told(NamedTuple):
    """What facts came to: a reboot, a doubt that it is the right node, another node for sure."""

    rebooted: bool = False
    doubted: bool = False
    another: bool = False


class Life:
    """What a node has told about itself; `track` holds its counters, `facts` are for people."""

    def __init__(self, node: Node, coap: Coap, say: Say) -> None:
        self._node, self._say = node, say
        self._tick = coap.tick
        self._counts = any("boots" in resource.facts for resource in coap.resources)
        self._boots: int | None = None
        self._before: dict[str, str] = {}
        self._doubts: dict[str, str] = {}
        told = {name for resource in coap.resources for name in resource.facts}
        self.wanted = frozenset(declared(node)) & told
        """What the node must tell before it is who it must be."""
        self.unknown = set(self.wanted)
        """What of that it must still tell in this life."""
        self.facts: dict[str, str] = {}
        self.track = Track()

    def take(self, facts: Mapping[str, str], at: Instant, raw: bytes) -> Told:
        """Take in facts; note a reboot, and what they must not be."""
        uptime = self._whole("uptime", facts, at, raw, self._tick)
        rebooted = self._count(self._whole("boots", facts, at, raw), uptime, at, raw)
        doubted = another = False
        for name in NAMES:
            if name not in facts:
                continue
            problem, before = self._problem(name, facts[name]), self._doubts.pop(name, "")
            if not problem:
                self._before[name] = facts[name]
                self.unknown.discard(name)
            elif problem == before:
                another = True
                self._note(NodeTrouble.IDENTITY, at, problem, raw)
            else:
                doubted, self._doubts[name] = True, problem
                self._note(NodeTrouble.STRAY, at, f"{problem}; not believed unless told again", raw)
        if not doubted:
            shown = {} if uptime is None else {"uptime": show_duration(Duration(uptime))}
            self.facts |= {**facts, **shown}
        return Told(rebooted, doubted, another)

    def _problem(self, name: str, got: str) -> str:
        problem = identity_problem(self._node, name, got[:60])
        before = self._before.get(name)
        if not problem and name == "serial" and before not in (None, got):
            return f"serial is {got[:60]}, was {before}: another node answers here"
        return problem

    def _count(self, boots: int | None, uptime: int | None, at: Instant, raw: bytes) -> bool:
        """Take in the counters; note a reboot and say whether there was one."""
        if boots is None and uptime is None:
            return False
        if boots is None and self._counts:
            if self._boots is None:
                return False  # nobody knows yet which life that is
            boots = self._boots
        self._boots = boots
        judged = self.track.judge(_SPAN, _NOTHING._replace(uptime=uptime, boots=boots), at)
        if judged.reboot:
            self.unknown = set(self.wanted)
            self._note(NodeTrouble.REBOOT, at, judged.reboot, raw, judged.since)
        return bool(judged.reboot)

    def _whole(
        self, name: str, facts: Mapping[str, str], at: Instant, raw: bytes, each: int = 1
    ) -> int | None:
        if name not in facts:
            return None
        try:
            number = exact(facts[name])
            if number.is_finite() and 0 <= number < Decimal(_LARGEST) / each:
                return int(number * each)
        except Unreadable:
            pass
        self._note(NodeTrouble.GARBLED, at, f"{name} is {facts[name][:40]!r}, no count", raw)
        return None

    def _note(
        self,
        trouble: NodeTrouble,
        at: Instant,
        text: str,
        raw: bytes,
        since: Instant | None = None,
    ) -> None:
        name = self._node.name
        self._say(NodeNote(node=name, trouble=trouble, at=at, text=text, raw=raw, since=since))
