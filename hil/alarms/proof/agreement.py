"""All indicators show a change within the stated time, whichever node decides.

The time counts from the first indicator that shows the new state to the last; where indicators
are looked at only now and then it is an interval, and a limit inside it is inconclusive.  The
colours must be right on every one of them: here an indicator with swapped colours is found.
"""

from hil.alarms.indicator import Reading
from hil.alarms.proof.dialogue import Steps, Until
from hil.alarms.proof.panel import Change
from hil.alarms.proof.proof import Proof
from hil.core.instant import Duration, after, show_duration
from hil.core.verdict import Outcome


class AgreementProof(Proof):
    """The indicators of one spec, over every band."""

    word = "agreement"

    def prove(self) -> Steps[None]:
        self._worst: Duration | None = None
        yield from self.moves.normal()
        for edge in self.stations.edges:
            count = self.stations.middle(edge.alarm)
            if count is None:
                self.note(Outcome.INCONCLUSIVE, f"{edge.alarm} is out of reach of the stimulus")
                continue
            self.panel.begin()
            yield from self.moves.impose(count)
            yield from self._together(edge.alarm)
            if edge.latched:
                yield from self.moves.normal()
                continue
            self.panel.begin()
            home = self.stations.middle(self.spec.normal)
            if home is not None:
                yield from self.moves.impose(home)
            yield from self._together(self.spec.normal)
            yield from self.moves.normal()
        if self._worst is not None:
            self.measured.append(("largest skew", show_duration(self._worst)))

    def _together(self, look: str) -> Steps[None]:
        """Wait until all show a look, and see that they keep it."""
        deadline = after(self.moves.now, self.stations.settled)
        reply = yield Until(lambda: self.panel.agrees(look), deadline)
        self.moves.now = reply.now
        if reply.met:
            yield from self.moves.wait(self.stations.agreement)
        wrong = self.panel.dissenters(look)
        if wrong:
            shown = "; ".join(self.panel.seen_on(place) for place in wrong)
            colour = self.spec.colour(look)
            self.note(Outcome.FAIL, f"{look} ({colour}) is not shown by all: {shown}")
            self.wrong += [self._node(place) for place in wrong]
            return
        self._judge_skew(look)

    def _judge_skew(self, look: str) -> None:
        shown = [self._arrived(place, look) for place in range(len(self.spec.indicators))]
        known = [(place, change) for place, change in enumerate(shown) if change is not None]
        if len(known) < 2:
            self.note(Outcome.PASS, f"all show {look}")
            return
        first_since = min(change.since for _, change in known)
        first_at = min(change.at for _, change in known)
        for place, change in known:
            limit = self.spec.indicators[place].within or self.spec.agreement
            least, most = change.since - first_at, change.at - first_since
            self._worst = Duration(max(self._worst or 0, most))
            if most <= limit:
                continue
            late = self.panel.seen_on(place)
            text = f"{late} came {show_duration(Duration(most))} after the first, "
            text += f"wanted within {show_duration(limit)}"
            self.note(Outcome.FAIL if least > limit else Outcome.INCONCLUSIVE, text)
            self.wrong.append(self._node(place))
        spread = max(change.at for _, change in known) - first_since
        self.note(Outcome.PASS, f"all show {look}, {show_duration(Duration(spread))} apart")

    def _node(self, place: int) -> str:
        return self.signals[self.spec.indicators[place].signals[0]].node

    def _arrived(self, place: int, look: str) -> Change | None:
        """Return when an indicator came to show a look for good; None where it need not."""
        indicator = self.spec.indicators[place]
        if isinstance(indicator.how, Reading) or look in indicator.not_judged:
            return None
        found = None
        for change in self.panel.each[place]:
            if look not in change.looks:
                found = None
            elif found is None:
                found = change
        return found
