"""A job for a plan: all nodes answer at once, many rounds, received against expected.

    round     one command to every node, all handed over at the same instant
    all       so many rounds with every node: loss that shows only under load
    pairs     so many rounds with every two nodes: which two disturb each other
    alone     so many rounds with each node by itself: what is lost here, the others do not lose

A node that answers alone and loses answers beside one other shares something with it: a PLCA id,
a transceiver that ignores collisions, a stub that echoes.  (Field reports: single pings worked,
simultaneous answers were lost.)
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from hil.core.driving import Progress, Trip
from hil.core.event import CheckDecided
from hil.core.instant import Duration, Instant
from hil.core.job import Stage
from hil.core.observation import Observation, Purpose
from hil.core.scene import Scene
from hil.core.signal import Value
from hil.core.verdict import Outcome

SHOWN_PAIRS = 10
SUSPECTED = "bus fault suspected"
RARE = 20
"""Where losing alone what is lost beside others would have shown in all but one of so many trials."""

Group = tuple[str, ...]
"""The signals that are driven in one round; each belongs to another node."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """The frozen description: values by signal, one signal for each node."""

    values: tuple[tuple[str, Value], ...]
    rounds: int
    pairs: int
    every: Duration
    place: str
    alone: int = 0

    @property
    def drives(self) -> tuple[str, ...]:
        return tuple(signal for signal, _ in self.values)

    @property
    def watches(self) -> tuple[str, ...]:
        return ()

    def begin(self, scene: Scene, where: str, index: int, step: int, start: Instant) -> Stage:
        return TogetherStage(self, scene, where, index, step, start)


class TogetherStage:
    """The rounds, one after another; each begins when the one before is decided, or later."""

    def __init__(
        self, job: Together, scene: Scene, where: str, index: int, step: int, start: Instant
    ) -> None:
        self._job, self._scene, self._where = job, scene, where
        self._index, self._step, self._start = index, step, start
        self._values = dict(job.values)
        self._rounds = _rounds(job)
        self._group: Group = ()
        self._trips: list[Trip] = []
        self._next_at: Instant | None = start
        self._sent: Counter[tuple[Group, str]] = Counter()
        self._answered: Counter[tuple[Group, str]] = Counter()
        self._details: dict[str, str] = {}
        self._outcomes: list[Outcome] = []
        self._reasons: list[str] = []
        self.outcomes: Sequence[Outcome] = self._outcomes
        self.reasons: Sequence[str] = self._reasons
        self._advance(start)

    @property
    def done(self) -> bool:
        return self._next_at is None and not self._trips

    def receive(self, seen: Observation, now: Instant) -> None:
        self._advance(now)

    def tick(self, now: Instant) -> None:
        self._advance(now)

    def next_wakeup(self) -> Instant | None:
        return None if self._trips else self._next_at

    def break_off(self, reason: str, now: Instant) -> None:
        if not self.done:
            self._trips, self._next_at = [], None
            self._tell(now)
            self._outcomes.append(Outcome.ERROR)
            self._reasons.append(f"{self._where}: not every round was run: {reason}")

    def _advance(self, now: Instant) -> None:
        if self._trips and all(trip.over for trip in self._trips):
            self._count()
        while not self._trips and self._next_at is not None and self._next_at <= now:
            group = next(self._rounds, None)
            if group is None:
                self._next_at = None
                self._tell(now)
                return
            self._group = group
            self._next_at = Instant(now + self._job.every)
            send = self._scene.driving.send
            self._trips = [send(each, self._values[each], Purpose.STIMULUS) for each in group]
            if all(trip.over for trip in self._trips):  # refused before they were sent
                self._count()

    def _count(self) -> None:
        for trip in self._trips:
            key = (self._group, trip.command.signal)
            self._sent[key] += 1
            self._answered[key] += trip.progress is Progress.ACCEPTED
            if trip.progress is not Progress.ACCEPTED:
                self._details.setdefault(trip.command.signal, trip.detail)
        self._trips = []

    def _tell(self, now: Instant) -> None:
        for signal in self._job.drives:
            self._check(signal, now)
        worse = [
            (sum(self._sent[(pair, each)] - self._answered[(pair, each)] for each in pair), pair)
            for pair in dict.fromkeys(group for group, _ in self._sent if len(group) == 2)
        ]
        for lost, pair in sorted(worse, key=lambda each: -each[0])[:SHOWN_PAIRS]:
            if lost:
                told = " and ".join(self._share(pair, each) for each in pair)
                self._reasons.append(f"{self._where}: beside each other, {told}")

    def _share(self, group: Group, signal: str) -> str:
        node = self._scene.signals[signal].node
        return f"{node} {self._answered[(group, signal)]} of {self._sent[(group, signal)]}"

    def _check(self, signal: str, now: Instant) -> None:
        """Decide one node: everything it was asked in any group was to be answered."""
        node = self._scene.signals[signal].node
        keys = [key for key in self._sent if key[1] == signal]
        sent = sum(self._sent[key] for key in keys)
        answered = sum(self._answered[key] for key in keys)
        outcome = Outcome.INCONCLUSIVE  # stopped before the first was decided
        if sent:
            outcome = Outcome.PASS if answered == sent else Outcome.FAIL
        text = f"{self._where}: received {answered} of {sent} answers of {node}"
        if outcome is Outcome.FAIL:
            first = self._details.get(signal, "nothing was sent")
            text += f"{self._where_lost(signal, sent)}; first: {first}"
            self._reasons.append(text)
        self._outcomes.append(outcome)
        self._scene.events.append(
            CheckDecided(
                at=self._scene.since_origin(now),
                index=self._index,
                step=self._step,
                signal=signal,
                node=node,
                wanted=f"{sent} of {sent} answers",
                when="while others answer",
                outcome=outcome.word,
                got=f"{answered} of {sent} answers",
                elapsed=now - self._start,
                change=None,
                margin=None,
                gap=None,
                seen=answered,
                text=text,
                place=self._job.place,
            )
        )

    def _where_lost(self, signal: str, sent: int) -> str:
        """Say whether a node loses answers by itself, or only beside others: then it is the bus."""
        alone = ((signal,), signal)
        asked, answered = self._sent[alone], self._answered[alone]
        if not sent:
            return ""
        if not asked:
            return f" while others answered too, {SUSPECTED}"
        told = f", {answered} of {asked} alone: "
        if answered < asked:
            return told + "it loses answers by itself"
        beside = sent - asked
        kept = sum(self._answered[key] for key in self._answered if key[1] == signal) - answered
        if RARE * kept**asked < beside**asked:
            return f"{told}{SUSPECTED}, simultaneous traffic is lost"
        return f"{told}{SUSPECTED}, too few to tell whether only simultaneous traffic is lost"


def _rounds(job: Together) -> Iterator[Group]:
    everybody: Sequence[str] = job.drives
    for _ in range(job.rounds):
        yield tuple(everybody)
    for pair in combinations(everybody, 2):
        for _ in range(job.pairs):
            yield pair
    for signal in everybody:
        for _ in range(job.alone):
            yield (signal,)
