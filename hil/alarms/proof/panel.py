"""What the indicators show: each by itself, and all together by their votes.

    lamp     amber     could be: low, high
    tower    amber     could be: low, high        most of them say: high
    word     high      is: high

One indicator that shows something else is outvoted, so that a trip point can be measured although
a colour is wrong; that all of them agree is a property of its own.  Where as many say one thing
as another, the first indicator of the spec decides.  The plain reading of the input has no vote.

A panel keeps every change since it was last told to `begin`; it never reads a clock.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from hil.alarms.indicator import Indicator, Reading
from hil.alarms.show import shows
from hil.alarms.spec import Spec
from hil.core.instant import Instant
from hil.core.observation import NodeNote, NodeTrouble, Observation, Samples
from hil.core.signal import Sample, Signal, Validity

Looks = frozenset[str]
NOTHING: Looks = frozenset()


@dataclass(frozen=True, slots=True)
class Change:
    """From some moment between `since` and `at` on, this is shown."""

    since: Instant
    at: Instant
    looks: Looks


class Panel:
    """The indicators and the input of one spec."""

    def __init__(
        self, spec: Spec, signals: Mapping[str, Signal], latest: Mapping[str, Sample]
    ) -> None:
        self.spec = spec
        self._signals = signals
        self._bands = frozenset(band.name for band in spec.bands)
        watched = {path for one in spec.indicators for path in one.signals} | {spec.signal}
        self._latest = {path: latest[path] for path in watched if path in latest}
        self._carriers: dict[str, list[int]] = {path: [] for path in watched}
        for place, indicator in enumerate(spec.indicators):
            for path in indicator.signals:
                self._carriers[path].append(place)
        self._known: list[dict[tuple[object, ...], Looks]] = [{} for _ in spec.indicators]
        self._each = [self._looks(place) for place in range(len(spec.indicators))]
        self.voted = self._vote()
        self.votes: list[Change] = []
        self.each: list[list[Change]] = [[] for _ in spec.indicators]
        self.inputs: list[Sample] = []
        self.reboots: list[tuple[str, Instant]] = []
        self.heard: dict[str, Instant] = {}

    def begin(self) -> None:
        """Forget all changes so far."""
        self.votes, self.inputs, self.reboots = [], [], []
        self.each = [[] for _ in self.spec.indicators]

    @property
    def input(self) -> Sample | None:
        """The latest sample of the input."""
        return self._latest.get(self.spec.signal)

    def receive(self, seen: Observation) -> None:
        """Take in samples and reboots; anything else is ignored."""
        if isinstance(seen, NodeNote) and seen.trouble is NodeTrouble.REBOOT:
            self.reboots.append((seen.node, seen.at))
        if not isinstance(seen, Samples):
            return
        if seen.samples and seen.samples[0].raw:  # growing stale is no sign of life
            self.heard[seen.node] = seen.samples[0].at
        touched: dict[int, tuple[Instant, Instant]] = {}
        for sample in seen.samples:
            if sample.signal not in self._carriers:
                continue
            span = (self._since(sample), sample.at)
            self._latest[sample.signal] = sample
            if sample.signal == self.spec.signal:
                self.inputs.append(sample)
            for place in self._carriers[sample.signal]:
                touched[place] = span
        if touched:
            self._note(touched)

    def agrees(self, look: str) -> bool:
        """Tell whether every indicator shows this look (or need not)."""
        return not self.dissenters(look)

    def dissenters(self, look: str) -> tuple[int, ...]:
        """Return the places of the indicators that do not show a look they must show."""
        places = range(len(self.spec.indicators))
        return tuple(place for place in places if not self.shows(place, look))

    def shows(self, place: int, look: str) -> bool:
        """Tell whether one indicator shows a look (or need not)."""
        indicator = self.spec.indicators[place]
        if look in indicator.not_judged or look in self._each[place]:
            return True
        if isinstance(indicator.how, Reading):
            samples = self._samples(indicator)
            return samples is not None and shows(indicator, look, samples, self._measured())
        return False

    def unheard(self, place: int, since: Instant) -> bool:
        """Tell whether nothing at all was heard of an indicator's nodes since an instant."""
        paths = self.spec.indicators[place].signals
        nodes = {self._signals[path].node for path in paths}
        return all(self.heard.get(node, Instant(-1)) < since for node in nodes)

    def seen_on(self, place: int) -> str:
        """Return what an indicator's signals carry, for people."""
        indicator = self.spec.indicators[place]
        shown = []
        for path in indicator.signals:
            sample = self._latest.get(path)
            value = "nothing" if sample is None or sample.value is None else str(sample.value)
            shown.append(f"{path} {value}")
        return ", ".join(shown)

    # --- keeping -------------------------------------------------------------------------------

    def _since(self, sample: Sample) -> Instant:
        """Return the earliest moment at which the quantity can have become so."""
        before = self._latest.get(sample.signal)
        if self._signals[sample.signal].sampling is None or before is None:
            return sample.since
        return min(sample.since, before.at)

    def _note(self, touched: Mapping[int, tuple[Instant, Instant]]) -> None:
        changed = False
        for place, (since, at) in touched.items():
            looks = self._looks(place)
            if looks != self._each[place]:
                self._each[place] = looks
                self.each[place].append(Change(since, at, looks))
                changed = True
        if not changed:
            return
        voted = self._vote()
        if voted != self.voted:
            self.voted = voted
            since = min(since for since, _ in touched.values())
            at = max(at for _, at in touched.values())
            self.votes.append(Change(since, at, voted))

    def _samples(self, indicator: Indicator) -> list[Sample] | None:
        samples = [self._latest.get(path) for path in indicator.signals]
        found = [sample for sample in samples if sample is not None]
        return found if len(found) == len(samples) else None

    def _measured(self) -> Decimal | None:
        sample = self.input
        if sample is None or sample.validity is not Validity.VALID:
            return None
        return sample.value if isinstance(sample.value, Decimal) else None

    def _looks(self, place: int) -> Looks:
        indicator = self.spec.indicators[place]
        samples = self._samples(indicator)
        if isinstance(indicator.how, Reading) or samples is None:
            return NOTHING
        key = tuple((sample.validity, sample.value) for sample in samples)
        known = self._known[place]
        if key not in known:
            known[key] = frozenset(
                look
                for look in self.spec.looks()
                if look not in indicator.not_judged and shows(indicator, look, samples)
            )
        return known[key]

    def _vote(self) -> Looks:
        counts = Counter(look for looks in self._each for look in looks)
        most = max(counts.values(), default=0)
        best = frozenset(look for look, count in counts.items() if count == most)
        first = next((looks & best for looks in self._each if looks), NOTHING)
        chosen = first or best
        bands = chosen & self._bands
        return bands or chosen
