"""The machine that holds a dialogue: it carries out requests in time and gives the replies.

    request   is over
    Drive     the command was accepted (refused, or lost for good: the dialogue ends)
    Until     its condition holds, or 1 ns after its deadline, for a deadline is inclusive
    Pause     at its instant
    Stop      at once; the procedure is not asked again

Arrivals come before timers: at an instant at which something arrives a timer fires only on the
tick.  A node that reboots without being told to ends the dialogue as a failure of the node.
"""

from collections.abc import Sequence
from typing import Protocol

from hil.alarms.proof.dialogue import Drive, Pause, Reply, Request, Steps, Stop, Until
from hil.core.driving import Progress, Trip
from hil.core.event import Event
from hil.core.instant import Instant
from hil.core.observation import NodeNote, NodeTrouble, Observation, Purpose
from hil.core.scene import Scene
from hil.core.verdict import Outcome


class Procedure(Protocol):
    """What is held: it talks, takes in what is seen, and concludes, also where it was stopped."""

    def talk(self, start: Instant) -> Steps[None]:
        """Return the dialogue."""

    def receive(self, seen: Observation) -> None:
        """Take in what was observed, whatever the dialogue waits for."""

    def expects_reboot(self, node: str) -> bool:
        """Tell whether this node may reboot now."""

    def conclude(self, at: Instant, stop: Stop | None) -> Sequence[Event]:
        """Return the events; afterwards `outcomes` and `reasons` say how it went."""

    @property
    def outcomes(self) -> Sequence[Outcome]: ...

    @property
    def reasons(self) -> Sequence[str]: ...

    @property
    def blamed(self) -> Sequence[str]: ...


class Talk:
    """One dialogue at work: a stage of hil.core.job."""

    def __init__(self, scene: Scene, procedure: Procedure, start: Instant) -> None:
        self.outcomes: Sequence[Outcome] = ()
        self.reasons: Sequence[str] = ()
        self.blamed: Sequence[str] = ()
        self._scene = scene
        self._procedure = procedure
        self._steps = procedure.talk(start)
        self._request: Request | None = None
        self._trip: Trip | None = None
        self._attempts = 0
        self._ready = start
        self.done = False
        self._resume(None, start)
        self._advance(start, timers=True)

    def receive(self, seen: Observation, now: Instant) -> None:
        """Take in an observation; what was due before it comes first."""
        if self.done:
            return
        wakeup = self.next_wakeup()
        if wakeup is not None and wakeup < now:
            self._advance(Instant(now - 1), timers=True)
        self._procedure.receive(seen)
        reboot = isinstance(seen, NodeNote) and seen.trouble is NodeTrouble.REBOOT
        if isinstance(seen, NodeNote) and reboot and not self._procedure.expects_reboot(seen.node):
            self._end(Stop(f"{seen.node} rebooted by itself: {seen.text}", Outcome.FAIL), now)
        self._advance(now, timers=False)

    def tick(self, now: Instant) -> None:
        """Let everything happen that is due."""
        self._advance(now, timers=True)

    def next_wakeup(self) -> Instant | None:
        """Return when the request is over by itself."""
        match self._request:
            case Until(deadline=deadline):
                return Instant(deadline + 1)
            case Pause(until=until):
                return until
            case Drive() if self._trip is None:
                return self._ready
        return None

    def break_off(self, reason: str, now: Instant) -> None:
        """End now; what was measured is kept."""
        if not self.done:
            self._end(Stop(reason, Outcome.ERROR), now)

    # --- carrying out --------------------------------------------------------------------------

    def _advance(self, now: Instant, timers: bool) -> None:
        while not self.done:
            reply = self._reply(now, timers)
            if reply is None:
                return
            self._resume(reply, now)

    def _reply(self, now: Instant, timers: bool) -> Reply | None:
        """Return the reply where the request is over."""
        match self._request:
            case Until(so=so, deadline=deadline):
                if so():
                    return Reply(now)
                return Reply(now, met=False) if timers and now > deadline else None
            case Pause(until=until):
                return Reply(now) if timers and now >= until else None
            case Drive():
                return self._driven(self._request, now)
        return None

    def _driven(self, request: Drive, now: Instant) -> Reply | None:
        driving = self._scene.driving
        if self._trip is None:
            self._ready = driving.ready_at(request.signal, request.value)
            if self._ready > now:
                return None
            self._attempts += 1
            self._trip = driving.send(request.signal, request.value, Purpose.STIMULUS)
        trip = self._trip
        if not trip.over:
            return None
        if trip.progress is Progress.ACCEPTED:
            return Reply(now, sent=now if trip.sent is None else trip.sent)
        if trip.progress is Progress.LOST and self._attempts <= request.again:
            self._trip = None
            return self._driven(request, now)
        refused = trip.progress is Progress.REFUSED
        verb = "was refused" if refused else "was not answered"
        reason = f"driving {request.signal} {verb}: {trip.detail}"
        self._end(Stop(reason, Outcome.FAIL if refused else Outcome.NOT_RUN), now)
        return None

    def _resume(self, reply: Reply | None, now: Instant) -> None:
        self._trip, self._attempts = None, 0
        try:
            self._request = next(self._steps) if reply is None else self._steps.send(reply)
        except StopIteration:
            self._end(None, now)
            return
        if isinstance(self._request, Stop):
            self._end(self._request, now)

    def _end(self, stop: Stop | None, now: Instant) -> None:
        self.done = True
        self._request = None
        self._steps.close()
        self._scene.events += self._procedure.conclude(self._scene.since_origin(now), stop)
        self.outcomes = tuple(self._procedure.outcomes)
        self.reasons = tuple(self._procedure.reasons)
        self.blamed = tuple(self._procedure.blamed)
