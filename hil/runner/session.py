"""One sitting at a rack as one machine: roll call, repair of an unclean end, the run.

    ROLL_CALL   nothing moves; a missing node or an impostor ends it here
    WARM_UP     one request and answer with every node that can be asked; an impostor ends it
    REPAIR      only after an unclean end: every actuator driven safe before the first case
    CASES       hil.core.engine.Run, which ends with every actuator safe
    OVER        `safe`: every actuator confirmed; `moved`: whether any command was sent at all

The loop drives it as it drives a run; its journal instants count from its start.
"""

from collections.abc import Callable, Mapping, Sequence
from enum import Enum, auto

from hil.core.engine import Run
from hil.core.errand import Wish
from hil.core.event import Event, HostNoted, NodeNoted, RunEnded
from hil.core.instant import Instant
from hil.core.noting import noted
from hil.core.observation import (
    Abort,
    Command,
    Confirmed,
    Exchanged,
    HostNote,
    NodeNote,
    NodeTrouble,
    Observation,
    Samples,
    Unconfirmed,
)
from hil.core.order import Order
from hil.core.plan import Case
from hil.core.scene import Explain, explain_nothing
from hil.core.signal import Sample, Signal
from hil.core.verdict import JUDGED, Outcome
from hil.runner.identity import identified, introduced
from hil.runner.roll_call import RollCall
from hil.runner.selection import nodes_used, signals_used
from hil.runner.warm_up import WarmUp, can_be_asked
from hil.wire.announce import listening_time
from hil.wire.rack import Rack

REPAIRED = "unclean end"


class Phase(Enum):
    """Where the session is."""

    ROLL_CALL = auto()
    WARM_UP = auto()
    REPAIR = auto()
    CASES = auto()
    OVER = auto()


class Session:
    """The machine of a session."""

    def __init__(
        self,
        rack: Rack,
        cases: Sequence[Case],
        start: Instant,
        *,
        retries: int = 0,
        repair: bool = False,
        explain: Explain = explain_nothing,
        hear: Callable[[Samples], object] | None = None,
        depart: Callable[[Sequence[Command]], object] | None = None,
        paced: bool = False,
    ) -> None:
        self._rack, self._cases = rack, cases
        self._hear, self._depart = hear, depart
        self._origin = start
        self._retries, self._explain, self._repair = retries, explain, repair
        self._phase = Phase.ROLL_CALL
        used = {path for case in cases for path in signals_used(case)} - set(rack.programs)
        self._roll_call = RollCall(
            rack.nodes, nodes_used(rack, cases), used, start, listening_time(rack)
        )
        self._warm_up = WarmUp(())
        self._run: Run | None = None
        self._known: dict[str, Sample] = {}
        self._exchanges: list[Exchanged] = []
        self._paced, self._orders = paced, list[Order]()
        self._events: list[Event] = []
        self.moved = self.done = False
        self._advance(start)

    @property
    def safe(self) -> bool:
        """Return whether the run's end saw every actuator at its safe value."""
        return self._run is not None and self.done and self._run.safe

    @property
    def distrusted(self) -> dict[str, str]:
        """Return the nodes whose place another one has taken, and how that was seen."""
        return self._roll_call.impostors | ({} if self._run is None else self._run.distrusted)

    @property
    def unseen(self) -> frozenset[str]:
        """Return the nodes that did not speak in the roll call; nobody commanded them."""
        return frozenset(node.name for node in self._rack.nodes) - self._roll_call.present

    def receive(self, observation: Observation, now: Instant) -> bool:
        """Take in what a link or the bench observed; return whether anything can follow.

        Samples are heard by `hear` as well.
        """
        if self._hear is not None and isinstance(observation, Samples):
            self._hear(observation)
        if isinstance(observation, Order) and self._phase is not Phase.CASES:
            self._orders.append(observation)  # until there is somebody to take it
            return True
        if self._run is not None:
            if self._repair and isinstance(observation, Samples):
                self._remember(observation)
            follows = self._run.receive(observation, now)
            if self._run.done:
                self._advance(now)
            return follows
        if isinstance(observation, Abort):
            self._give_up(observation.reason, now)
        else:
            self._listen(observation, now)
        self._advance(now)
        return True

    def tick(self, now: Instant) -> None:
        """Let time reach `now`."""
        if self._run is None:
            self._roll_call.tick(now)
            self._advance(now)
            return
        self._run.tick(now)
        if self._run.done:
            self._advance(now)

    def next_wakeup(self) -> Instant | None:
        """Return when whatever is on wants to be woken."""
        if self.done:
            return None
        if self._phase is Phase.WARM_UP:
            return None  # the links wake themselves
        return self._roll_call.next_wakeup() if self._run is None else self._run.next_wakeup()

    def take_sends(self) -> tuple[Command | Wish, ...]:
        """Hand over the commands to be sent, and other wishes; `depart` sees commands just before."""
        if self._run is None:
            return self._warm_up.take_sends()
        sends = self._run.take_sends()
        commands = [each for each in sends if isinstance(each, Command)] if sends else []
        if commands:
            self.moved = True
            if self._depart is not None:
                self._depart(commands)
        return sends

    def take_events(self) -> list[Event]:
        """Hand over what is to be journalled."""
        if self._run is not None and not self._events and not self._repair:
            return self._run.take_events()
        self._collect()
        events, self._events = self._events, []
        return events

    # --- phases --------------------------------------------------------------------------------

    def _advance(self, now: Instant) -> None:
        if self._phase is Phase.ROLL_CALL and self._roll_call.done:
            self._end_roll_call(now)
        if self._phase is Phase.WARM_UP:
            self._end_warm_up(now)
        if self._phase is Phase.REPAIR and self._run is not None and self._run.done:
            self._end_repair(self._run, now)
        if self._phase is Phase.CASES and self._run is not None and self._run.done:
            self._phase, self.done = Phase.OVER, True

    def _end_roll_call(self, now: Instant) -> None:
        wrong = self._roll_call.wrong
        self._events += identified(self._rack.nodes, self._roll_call.readings, self._at(now))
        absent = {name: wrong[name] for name in wrong if name not in self._roll_call.present}
        for name, text in absent.items():
            self._events.append(NodeNoted(at=self._at(now), node=name, trouble="absent", text=text))
        if wrong:
            self._refuse(wrong, now)
            return
        self._phase = Phase.WARM_UP
        present, away = self._roll_call.present, self._roll_call.impostors
        asked = [node.name for node in self._rack.nodes if can_be_asked(node)]
        self._warm_up = WarmUp([name for name in asked if name in present and name not in away])

    def _refuse(self, wrong: Mapping[str, str], now: Instant) -> None:
        told = "; ".join(f"{name}: {text}" for name, text in wrong.items())
        self._give_up(f"nothing was moved, not every node is ready: {told}", now)

    def _end_warm_up(self, now: Instant) -> None:
        wrong = self._roll_call.wrong
        if wrong:
            self._refuse(wrong, now)
        elif not self._warm_up.done:
            return
        elif self._repair:
            self._phase = Phase.REPAIR
            self._run = self._begin((), now)
        else:
            self._phase = Phase.CASES
            self._run = self._begin(self._cases, now)

    def _end_repair(self, run: Run, now: Instant) -> None:
        self._collect()
        if run.aborted or not run.safe:
            self._give_up(
                run.aborted or "the rack could not be made safe after an unclean end", now
            )
            return
        text = "the last run did not leave the rack safe; it was made safe before the first case"
        self._events.append(HostNoted(at=self._at(now), trouble=REPAIRED, amount=1, text=text))
        self._phase, self._repair = Phase.CASES, False
        self._run = self._begin(self._cases, now)

    def _begin(self, cases: Sequence[Case], now: Instant) -> Run:
        run = Run(
            signals=self._signals(),
            cases=cases,
            start=now,
            retries=self._retries,
            explain=self._explain,
            origin=self._origin,
            known=self._known,
            confirm=lambda case: nodes_used(self._rack, (case,)),
            paced=self._paced and self._phase is Phase.CASES,
        )
        for seen in (*self._exchanges, *(self._orders if self._phase is Phase.CASES else ())):
            run.receive(seen, now)
        return run

    def _signals(self) -> dict[str, Signal]:
        """Return the signals of the nodes that are there; of others nothing was moved."""
        there = self._roll_call.present - set(self._roll_call.impostors)
        programs = self._rack.programs
        return {
            path: signal
            for path, signal in self._rack.signals().items()
            if signal.node in there or path in programs
        }

    def _give_up(self, reason: str, now: Instant) -> None:
        """End without any case; what was driven before is as it was left."""
        self._phase, self.done = Phase.OVER, True
        counts = {outcome.word: 0 for outcome in JUDGED} | {Outcome.NOT_RUN.word: len(self._cases)}
        self._events.append(
            RunEnded(
                at=self._at(now),
                outcome=Outcome.NOT_RUN.word,
                counts=counts,
                aborted=reason,
                safe=self._run is not None and self._run.safe,
            )
        )

    # --- what is seen before a run is on ----------------------------------------------------------

    def _listen(self, seen: Observation, now: Instant) -> None:
        self._roll_call.receive(seen, now)
        if isinstance(seen, Samples):
            self._remember(seen)
        elif isinstance(seen, Exchanged):
            self._exchanges.append(seen)
        elif isinstance(seen, (Confirmed, Unconfirmed)):
            at = self._at(seen.at)
            self._events.append(self._warm_up.receive(seen, at))
            if isinstance(seen, Confirmed):
                self._events += introduced(self._rack.nodes, seen, at)
        elif isinstance(seen, (NodeNote, HostNote)):
            if isinstance(seen, NodeNote) and seen.trouble is NodeTrouble.IDENTITY:
                self._warm_up.drop(seen.node)
            self._events.append(noted(seen, self._at(seen.at)))

    def _remember(self, seen: Samples) -> None:
        for sample in seen.samples:
            self._known[sample.signal] = sample

    def _collect(self) -> None:
        if self._run is None:
            return
        for event in self._run.take_events():
            if not (self._phase is Phase.REPAIR and isinstance(event, RunEnded)):
                self._events.append(event)

    def _at(self, now: Instant) -> Instant:
        return Instant(max(0, now - self._origin))
