"""What else was the matter while a step was judged: whose fault a failed check is.

What the node did wrong fails.  But a failed check becomes inconclusive where the stimulus was never
confirmed, the node's port was closed, the host itself was late or dropped datagrams: then the bench
cannot tell.  A check that passed stays passed.
"""

from collections.abc import Container

from hil.core.expectation import Finding, Watch
from hil.core.meter import Meter
from hil.core.observation import HostNote, HostTrouble, NodeNote, NodeTrouble
from hil.core.scene import Scene
from hil.core.verdict import Outcome


class Circumstances:
    """The oddities of nodes and host during one step."""

    def __init__(self, scene: Scene, rebooting: Container[str], precondition: bool) -> None:
        """`rebooting` are the nodes that may go away during the case."""
        self._scene = scene
        self._rebooting = rebooting
        self._precondition = precondition
        self.excuses: list[str] = []
        self._garbled: dict[str, list[str]] = {}
        self._closed_ports: dict[str, str] = {}
        self._unanswered: dict[str, str] = {}

    def note_node(self, note: NodeNote) -> None:
        """Take in something odd about a node."""
        if note.trouble is NodeTrouble.UNREACHABLE and note.node not in self._rebooting:
            self._closed_ports[note.node] = note.text
        elif note.trouble in (NodeTrouble.GARBLED, NodeTrouble.FOREIGN):
            self._garbled.setdefault(note.node, []).append(note.text)
        elif note.trouble in (NodeTrouble.UNANSWERED, NodeTrouble.SUBSCRIPTION):
            self._unanswered[note.node] = note.text

    def note_host(self, note: HostNote, weighed: bool) -> None:
        """Take in something odd about the host, unless the job at work weighs that by itself."""
        if note.trouble is not HostTrouble.CLOCK and not weighed:
            self.excuses.append(note.text)

    def unreachable(self, node: str) -> bool:
        """Say whether nobody listened at the node's port."""
        return node in self._closed_ports

    def whose_fault(
        self, watch: Watch | Meter, finding: Finding, refused: str
    ) -> tuple[Outcome, str]:
        """Return the outcome of a check, and what excuses or explains it."""
        if finding.outcome is Outcome.PASS:
            return Outcome.PASS, ""
        if watch.signal.node in self._closed_ports:
            return Outcome.INCONCLUSIVE, self._closed_ports[watch.signal.node]
        if self.excuses:
            return Outcome.INCONCLUSIVE, "; ".join(dict.fromkeys(self.excuses))
        if self._precondition:
            return Outcome.INCONCLUSIVE, "the precondition was not met"
        return finding.outcome, refused

    def hint(self, watch: Watch | Meter, finding: Finding) -> str:
        """Return what may have led to a failed check, as far as the datagrams tell."""
        if finding.outcome is Outcome.PASS:
            return ""
        hints, wanted = [], watch.expectation.condition
        if finding.decided is not None and finding.outcome is Outcome.FAIL:
            hints.append(self._scene.explain(finding.decided, wanted, watch.signal))
        hints.append(self._unanswered.get(watch.signal.node, ""))
        garbled = self._garbled.get(watch.signal.node)
        if garbled:
            hints.append(f"{len(garbled)} unusable from {watch.signal.node}, first: {garbled[0]}")
        return "; ".join(hint for hint in hints if hint)
