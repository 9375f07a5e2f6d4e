"""What every property has in common: what was found, a verdict, the events.

findings      outcome and one sentence each; the worst decides
measured      numbers for reports: name and text
stop          why the rest was not run: the bench (inconclusive) or the node (fail)
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from hil.alarms.means import RESTART
from hil.alarms.proof.dialogue import Steps, Stop
from hil.alarms.proof.moves import Moves
from hil.alarms.proof.panel import Panel
from hil.alarms.proof.station import Stations, stations
from hil.alarms.spec import Spec
from hil.core.event import AlarmProperty, Event
from hil.core.instant import Instant
from hil.core.observation import Observation
from hil.core.scene import Scene
from hil.core.signal import Signal
from hil.core.verdict import Outcome, worst


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a proof stands in a run: how its sentences begin, and its events' case and step."""

    where: str
    index: int
    step: int


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was found."""

    outcome: Outcome
    text: str


class Proof:
    """One property of one spec at work; a subclass says what is done in `prove`."""

    word = ""
    """The name of the property."""

    def __init__(self, spec: Spec, scene: Scene, place: Place, alarm: str = "") -> None:
        self.spec = spec
        self.alarm = alarm
        self.place = place
        self.stations: Stations = stations(spec, scene.signals)
        self.panel = Panel(spec, scene.signals, scene.latest)
        self.moves = Moves(self.stations, self.panel)
        self.findings: list[Finding] = []
        self.measured: list[tuple[str, str]] = []
        self.outcomes: list[Outcome] = []
        self.reasons: list[str] = []
        self.wrong: list[str] = []  # nodes known to be wrong

    @property
    def signals(self) -> Mapping[str, Signal]:
        return self.stations.signals

    # --- what a subclass says ------------------------------------------------------------------

    def prove(self) -> Steps[None]:
        """Do it; everything found goes to `findings` and `measured`."""
        raise NotImplementedError

    def summarise(self, whole: bool) -> None:
        """Judge what has been measured; `whole` is False where the dialogue was stopped."""

    def extra_events(self, at: Instant) -> Iterator[Event]:
        """Yield events besides that of the property itself."""
        yield from ()

    # --- the procedure -------------------------------------------------------------------------

    def talk(self, start: Instant) -> Steps[None]:
        """Return the dialogue."""
        yield from self.moves.prepare(start)
        yield from self.prove()

    def receive(self, seen: Observation) -> None:
        """Take in what was observed."""
        self.panel.receive(seen)

    def expects_reboot(self, node: str) -> bool:
        """Tell whether this node was told to restart."""
        return node == self.moves.rebooting

    def conclude(self, at: Instant, stop: Stop | None) -> list[Event]:
        """Judge, also where the dialogue was stopped, and return the events."""
        self.summarise(stop is None)
        if stop is not None:
            before = "the rest was not run" if self.findings else "nothing was measured before that"
            self.note(stop.outcome, f"{stop.reason}; {before}")
            self.note(Outcome.NOT_RUN, "")
        self.outcomes = [finding.outcome for finding in self.findings] or [Outcome.NOT_RUN]
        bad = [one for one in self.findings if one.outcome is not Outcome.PASS and one.text]
        self.reasons = [f"{self.place.where}: {one.text}" for one in bad]
        texts = [one.text for one in bad or self.findings if one.text]
        event = AlarmProperty(
            at=at,
            index=self.place.index,
            step=self.place.step,
            spec=self.spec.name,
            signal=self.spec.signal,
            alarm=self.alarm,
            property=self.word,
            outcome=worst(self.outcomes).word,
            measured=tuple(self.measured),
            text="; ".join(texts),
            place=str(self.mark),
            requirements=self.requirements,
        )
        return [*self.extra_events(at), event]

    @property
    def blamed(self) -> tuple[str, ...]:
        """The nodes to blame for a failure: those known to be wrong, else the one that decides.

        Which node decides is known where the spec says how it is restarted.
        """
        if Outcome.FAIL not in self.outcomes:
            return ()
        way = None if self.spec.means is None else self.spec.means.way(RESTART)
        deciding = () if way is None else (self.signals[way.signal].node,)
        return tuple(dict.fromkeys(self.wrong)) or deciding

    # --- notes ---------------------------------------------------------------------------------

    def note(self, outcome: Outcome, text: str) -> None:
        """Keep a finding."""
        self.findings.append(Finding(outcome, text))

    def judge(self, good: bool, right: str, wrong: str) -> None:
        """Keep a pass or a failure."""
        self.note(Outcome.PASS if good else Outcome.FAIL, right if good else wrong)

    @property
    def mark(self) -> object:
        """Where in the author's file the property stands."""
        if self.alarm:
            return self.spec.bands[self.spec.place(self.alarm)].mark
        return self.spec.mark

    @property
    def requirements(self) -> tuple[str, ...]:
        """What requires it: the spec's requirements, and the band's."""
        own: tuple[str, ...] = ()
        if self.alarm:
            own = self.spec.bands[self.spec.place(self.alarm)].requirements
        return tuple(dict.fromkeys((*self.spec.requirements, *own)))
