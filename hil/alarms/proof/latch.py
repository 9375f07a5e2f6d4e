"""Latch and acknowledge, in each order.

clear, then acknowledge          stays shown until then, then gone
acknowledge, then clear          where the spec allows it: gone when it clears
                                 where not: ignored, and still latched when it clears
clear, trip again, clear         stays latched throughout
acknowledge with nothing there   changes nothing, the next alarm latches
clear, then restart              as the spec says: the latch outlives it, or not
"""

from hil.alarms.edge import Edge
from hil.alarms.means import RESTART
from hil.alarms.proof.dialogue import Steps
from hil.alarms.proof.proof import Place, Proof
from hil.alarms.spec import Spec
from hil.core.instant import Duration
from hil.core.scene import Scene
from hil.core.verdict import Outcome


class LatchProof(Proof):
    """The latch of one alarm."""

    word = "latch"

    def __init__(self, spec: Spec, scene: Scene, place: Place, edge: Edge) -> None:
        super().__init__(spec, scene, place, edge.alarm)
        self.edge = edge
        self._beyond = self.stations.middle(edge.alarm)
        self._clear = self.stations.middle(spec.normal)

    def prove(self) -> Steps[None]:
        if self.spec.latch is None or self._beyond is None or self._clear is None:
            self.note(Outcome.INCONCLUSIVE, f"{self.alarm} is out of reach of the stimulus")
            return
        for path in (
            self._clear_then_acknowledge,
            self._acknowledge_then_clear,
            self._trip_again,
            self._acknowledge_nothing,
            self._restart,
        ):
            yield from self.moves.normal()
            yield from path()

    # --- paths ---------------------------------------------------------------------------------

    def _clear_then_acknowledge(self) -> Steps[None]:
        yield from self._trip()
        yield from self._release("cleared, not acknowledged")
        yield from self._let_go("cleared, then acknowledged")

    def _acknowledge_then_clear(self) -> Steps[None]:
        yield from self._trip()
        yield from self.moves.acknowledge()
        yield from self.moves.wait(self._settle)
        self._expect(True, "acknowledged while it stands")
        if self._allowed:
            yield from self._go(self._clear, self.stations.after_off(self.edge))
            self._expect(False, "acknowledged while it stood, then cleared")
            return
        yield from self._release("acknowledged while it stood (which is ignored), then cleared")
        yield from self._let_go("acknowledged once more")

    def _trip_again(self) -> Steps[None]:
        yield from self._trip()
        yield from self._release("cleared once")
        yield from self._trip()
        yield from self._release("tripped and cleared again")
        yield from self._let_go("tripped twice, then acknowledged")

    def _acknowledge_nothing(self) -> Steps[None]:
        yield from self.moves.acknowledge()
        yield from self.moves.wait(self._settle)
        self._expect(False, "acknowledged with nothing there")
        yield from self._trip()
        yield from self._release("acknowledged before it came")
        yield from self._let_go("then acknowledged")

    def _restart(self) -> Steps[None]:
        way = self.spec.means.way(RESTART) if self.spec.means is not None else None
        latch = self.spec.latch
        if way is None or latch is None:
            return
        yield from self._trip()
        yield from self._release("cleared, before a restart")
        if not (yield from self.moves.restart(way)):
            self.note(Outcome.INCONCLUSIVE, "the node did not come back after a restart")
            return
        yield from self.moves.wait(Duration(self.spec.start_up.hold + self.stations.settled))
        self._expect(latch.survives_restart, "cleared, then restarted")

    # --- pieces --------------------------------------------------------------------------------

    @property
    def _allowed(self) -> bool:
        return self.spec.latch is not None and self.spec.latch.while_active

    @property
    def _settle(self) -> Duration:
        return Duration(self.stations.agreement + self.stations.slack)

    def _go(self, count: int | None, length: Duration) -> Steps[None]:
        if count is not None:
            yield from self.moves.impose(count)
            yield from self.moves.wait(length)

    def _trip(self) -> Steps[None]:
        yield from self._go(self._beyond, self.stations.after_on(self.edge))
        self._expect(True, "tripped")

    def _release(self, what: str) -> Steps[None]:
        """Let the value clear; the latch must keep the alarm shown."""
        yield from self._go(self._clear, self.stations.after_off(self.edge))
        self._expect(True, what)

    def _let_go(self, what: str) -> Steps[None]:
        """Acknowledge; the alarm must be gone."""
        yield from self.moves.acknowledge()
        yield from self.moves.wait(self._settle)
        self._expect(False, what)

    def _expect(self, wanted: bool, what: str) -> None:
        shown = self.moves.stands(self.edge) is True
        word = "shown" if wanted else "gone"
        self.judge(
            shown is wanted,
            f"{what}: {word}",
            f"{what}: wanted {word}, but shows {self.moves.seen()}",
        )
