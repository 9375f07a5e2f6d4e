"""The start-up hold: no alarm at power-on by a value that is not there yet, and none forgotten.

    good value    start-up ........ normal        no alarm at any time
    bad value     start-up ........ alarm         not before the hold is over, soon after it

The hold counts from the restart of the node that decides.  When that was is known between the
restart command and the first sign of the new life; where a limit lies between both, the verdict
is inconclusive.
"""

from hil.alarms.edge import Edge
from hil.alarms.means import Way
from hil.alarms.proof.dialogue import Drive, Pause, Steps, Until
from hil.alarms.proof.fault import worst_alarms
from hil.alarms.proof.proof import Place, Proof
from hil.alarms.proof.station import COMING_BACK
from hil.alarms.spec import SPECIAL, START_UP, Spec
from hil.core.instant import Duration, Instant, after, show_duration
from hil.core.scene import Scene
from hil.core.signal import Validity
from hil.core.verdict import Outcome


class StartProof(Proof):
    """The start-up hold of the deciding node."""

    word = "start-up hold"

    def __init__(self, spec: Spec, scene: Scene, place: Place, way: Way) -> None:
        super().__init__(spec, scene, place)
        self.way = way

    def prove(self) -> Steps[None]:
        yield from self.moves.normal()
        yield from self._good()
        for edge in worst_alarms(self):
            yield from self.moves.standing(edge)
            yield from self._bad(edge)

    def _restart(self) -> Steps[tuple[Instant, Instant] | None]:
        """Restart; return between which instants the new life began, None where it did not."""
        node = self.signals[self.way.signal].node
        self.moves.rebooting = node
        self.panel.begin()
        reply = yield Drive(self.way.signal, self.way.value, again=0)
        sent = reply.sent
        reply = yield Until(lambda: bool(self.panel.reboots), after(reply.now, COMING_BACK))
        self.moves.now = reply.now
        if not reply.met:
            text = f"{node} did not come back within {show_duration(COMING_BACK)}"
            self.note(Outcome.INCONCLUSIVE, text)
            return None
        return sent, self.panel.reboots[0][1]

    def _good(self) -> Steps[None]:
        began = yield from self._restart()
        if began is None:
            return
        yield from self._watch_hold(began[1])
        met = yield from self.moves.showing(self.spec.normal, self.stations.settled)
        yield from self.moves.wait(self.stations.settled)
        alarms = [name for _, name in self._alarms(began[1])]
        self.moves.rebooting = ""
        if alarms:
            self.note(Outcome.FAIL, f"started with a good value and showed {alarms[0]}")
        else:
            self.judge(
                met and self.spec.normal in self.panel.voted,
                "started with a good value: no alarm at any time",
                f"started with a good value and does not show {self.spec.normal}: "
                f"{self.moves.seen()}",
            )

    def _bad(self, edge: Edge) -> Steps[None]:
        began = yield from self._restart()
        if began is None:
            return
        yield from self._watch_hold(began[1])
        met = yield from self.moves.shown(edge, self.stations.after_on(edge))
        self.moves.rebooting = ""
        if not self._input_stayed(edge):
            text = f"after the restart the input did not read {edge.alarm} any more"
            self.note(Outcome.INCONCLUSIVE, text)
            return
        shown = [(at, name) for at, name in self._alarms(began[1]) if name == edge.alarm]
        if not met or not shown:
            hold = show_duration(self.spec.start_up.hold)
            text = f"started in {edge.alarm}: not shown after the hold of {hold}"
            self.note(Outcome.FAIL, f"{text}: {self.moves.seen()}")
            return
        self._judge_hold(edge, Duration(shown[0][0] - began[1]), Duration(shown[0][0] - began[0]))

    def _watch_hold(self, began: Instant) -> Steps[None]:
        """Let the hold pass; in its midst the start-up look must be shown."""
        hold = self.spec.start_up.hold
        beginning = self.stations.agreement + self.stations.slack
        tolerance = self.spec.tolerance.time
        if hold <= beginning + tolerance:
            self.moves.now = (yield Pause(after(began, hold))).now
            return
        middle = Duration((beginning + hold - tolerance) // 2)
        self.moves.now = (yield Pause(after(began, middle))).now
        wrong = self.panel.dissenters(START_UP)
        if wrong:
            shown = "; ".join(self.panel.seen_on(place) for place in wrong)
            text = f"{show_duration(middle)} after a start {START_UP} is not shown: {shown}"
            self.note(Outcome.FAIL, text)
        self.moves.now = (yield Pause(after(began, hold))).now

    def _judge_hold(self, edge: Edge, least: Duration, most: Duration) -> None:
        delay = edge.on_delay.length if edge.on_delay is not None else 0
        wanted = self.spec.start_up.hold + delay
        tolerance = self.spec.tolerance.time
        low, high = wanted - tolerance, wanted + tolerance + self.stations.agreement
        text = f"started in {edge.alarm}: shown {show_duration(least)} after the node was back"
        text += f", wanted {show_duration(Duration(wanted))}"
        self.measured.append((f"hold, {edge.alarm}", show_duration(least)))
        if most < low or least > high:
            self.note(Outcome.FAIL, text)
        elif least < low:
            word = "the start itself lies in between"
            self.note(Outcome.INCONCLUSIVE, f"{text}: {word}, {show_duration(most)} at most")
        else:
            self.note(Outcome.PASS, text)

    def _alarms(self, began: Instant) -> list[tuple[Instant, str]]:
        """Return the alarms shown since the new life began, with their instants."""
        found = []
        for change in self.panel.votes:
            if change.at < began or change.looks & set(SPECIAL):
                continue
            found += [(change.at, look) for look in change.looks if look != self.spec.normal]
        if not self.panel.votes:  # what stood before the restart still stands
            found += [
                (began, look)
                for look in self.panel.voted
                if look not in SPECIAL and look != self.spec.normal
            ]
        return found

    def _input_stayed(self, edge: Edge) -> bool:
        sample = self.panel.input
        if not self.stations.input.sensed:
            return True
        count = self.stations.middle(edge.alarm)
        if sample is None or sample.validity is not Validity.VALID or count is None:
            return False
        return sample.value == self.stations.value(count) or bool(self.stations.input.noise)
