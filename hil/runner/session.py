"""One sitting at a rack as one machine: roll call, repair of an unclean end, the run.

    ROLL_CALL   nothing moves; a missing node or an impostor ends it here
    REPAIR      only after an unclean end: every actuator driven safe before the first case
    CASES       hil.core.engine.Run, which ends with every actuator safe
    OVER        `safe`: every actuator confirmed; `moved`: whether any command was sent at all

The loop drives it as it drives a run; its journal instants count from its start.
"""

from collections.abc import Callable, Sequence
from enum import Enum, auto

from hil.core.engine import Run
from hil.core.event import Event, HostNoted, NodeNoted, RunEnded
from hil.core.instant import Instant
from hil.core.observation import Abort, Command, HostNote, NodeNote, Observation, Samples
from hil.core.plan import Case
from hil.core.scene import Explain, explain_nothing
from hil.core.signal import Sample, Signal
from hil.core.verdict import Outcome
from hil.runner.roll_call import RollCall
from hil.runner.selection import nodes_used, signals_used
from hil.wire.rack import Rack

REPAIRED = "unclean end"


class Phase(Enum):
    """Where the session is."""

    ROLL_CALL = auto()
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
    ) -> None:
        self._rack, self._cases = rack, cases
        self._hear, self._depart = hear, depart
        self._origin = start
        self._retries, self._explain, self._repair = retries, explain, repair
        self._phase = Phase.ROLL_CALL
        used = {path for case in cases for path in signals_used(case)}
        self._roll_call = RollCall(rack.nodes, nodes_used(rack, cases), used, start)
        self._run: Run | None = None
        self._known: dict[str, Sample] = {}
        self._events: list[Event] = []
        self.moved = self.done = False
        self._advance(start)

    @property
    def safe(self) -> bool:
        """Return whether the run's end saw every actuator at its safe value."""
        return self._run is not None and self.done and self._run.safe

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
        return self._roll_call.next_wakeup() if self._run is None else self._run.next_wakeup()

    def take_sends(self) -> tuple[Command, ...]:
        """Hand over the commands to be sent; `depart` sees them just before."""
        sends = () if self._run is None else self._run.take_sends()
        if sends:
            self.moved = True
            if self._depart is not None:
                self._depart(sends)
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
        if self._phase is Phase.REPAIR and self._run is not None and self._run.done:
            self._end_repair(self._run, now)
        if self._phase is Phase.CASES and self._run is not None and self._run.done:
            self._phase, self.done = Phase.OVER, True

    def _end_roll_call(self, now: Instant) -> None:
        wrong = self._roll_call.wrong
        absent = {name: wrong[name] for name in wrong if name not in self._roll_call.present}
        for name, text in absent.items():
            self._events.append(NodeNoted(at=self._at(now), node=name, trouble="absent", text=text))
        if wrong:
            told = "; ".join(f"{name}: {text}" for name, text in wrong.items())
            self._give_up(f"nothing was moved, not every node is ready: {told}", now)
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
        return Run(
            signals=self._signals(),
            cases=cases,
            start=now,
            retries=self._retries,
            explain=self._explain,
            origin=self._origin,
            known=self._known,
        )

    def _signals(self) -> dict[str, Signal]:
        """Return the signals of the nodes that are there; of others nothing was moved."""
        present = self._roll_call.present
        return {
            path: signal for path, signal in self._rack.signals().items() if signal.node in present
        }

    def _give_up(self, reason: str, now: Instant) -> None:
        """End without any case; what was driven before is as it was left."""
        self._phase, self.done = Phase.OVER, True
        counts = {outcome.word: 0 for outcome in Outcome} | {Outcome.NOT_RUN.word: len(self._cases)}
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
        elif isinstance(seen, NodeNote):
            self._events.append(
                NodeNoted(
                    at=self._at(seen.at),
                    node=seen.node,
                    trouble=seen.trouble.value,
                    text=seen.text,
                    hex=seen.raw.hex(),
                )
            )
        elif isinstance(seen, HostNote):
            self._events.append(
                HostNoted(
                    at=self._at(seen.at),
                    trouble=seen.trouble.value,
                    amount=seen.amount,
                    text=seen.text,
                )
            )

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
