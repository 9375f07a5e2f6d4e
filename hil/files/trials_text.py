"""`trials` on a case or a step: how often, and what must be true of all of them.

What so many trials cannot show is refused here, with how many could.
"""

from dataclasses import replace
from decimal import Decimal

from hil.core.instant import ZERO, Duration, show_duration
from hil.core.plan import Case, Expectation, Step
from hil.files.leaf import DURATION, WHOLE
from hil.files.measure_shape import LATENCIES, LATENCY, TRIAL_TRAFFIC, TRIAL_TRAFFICS
from hil.files.mistake import Page
from hil.files.scope import Scope
from hil.files.share import read_share, show_share
from hil.files.traffic_text import read_limits
from hil.files.tree import Map, Node, Seq
from hil.measure.latency import least_trials, supports
from hil.measure.repeating import ENDLESS_WINDOW, Repeating
from hil.measure.trial_statement import AtLeast, Percentile, Wanted

_USUAL = Decimal("0.95")
_LIMIT = 1_000_000


def repeat(
    case: Case, fields: dict[str, Node], places: list[Node], scope: Scope, page: Page
) -> Case:
    """Return the case with its trials as jobs; `places` are where its steps stand."""
    steps = []
    for step, place in zip(case.steps, places, strict=True):
        inner = {} if not isinstance(place, Map) else {k: v[1] for k, v in place.pairs.items()}
        if "trials" not in inner:
            steps.append(step)
            continue
        if "trials" in fields:
            page.wrong(inner["trials"], "trials: the case has trials already", "one of the two")
        once = replace(case, precondition=(), steps=(step,))
        steps.append(_job_step(_Reader(once, inner, scope, page).read(), step))
    case = replace(case, steps=tuple(steps))
    if "trials" not in fields:
        return case
    empty = Step(stimuli=(), expectations=(), wait=ZERO, mark=case.mark)
    job = _Reader(case, fields, scope, page).read()
    return replace(case, precondition=(), steps=(_job_step(job, empty),))


def _job_step(job: Repeating | None, step: Step) -> Step:
    return replace(step, stimuli=(), expectations=(), wait=ZERO, job=job)


class _Reader:
    """Reads the statements about the trials of one case."""

    def __init__(self, case: Case, fields: dict[str, Node], scope: Scope, page: Page) -> None:
        self.case, self.fields, self.scope, self.page = case, fields, scope, page
        self.count = 0

    def read(self) -> Repeating | None:
        """Return the job; None, with the mistakes noted."""
        before = self.page.count
        fields, page = self.fields, self.page
        count = WHOLE.read(fields["trials"], page, "trials")
        if count is not None and not 2 <= count <= _LIMIT:
            page.wrong(fields["trials"], f"trials: expected 2 to {_LIMIT}", "trials: 100")
        if not any(word in fields for word in ("at-least", "latency", "traffic")):
            what = "trials: nothing is said about all of them"
            page.wrong(fields["trials"], what, "at-least: 99 %")
        self.count = count or 0
        wanted = [*self._at_least(), *self._latencies()]
        traffic = self._traffic()
        if count is None or page.count > before:
            return None
        return Repeating(case=self.case, count=count, wanted=tuple(wanted), traffic=tuple(traffic))

    def _confidence(self, fields: dict[str, Node]) -> Decimal:
        if "confidence" not in fields:
            return _USUAL
        return read_share(fields["confidence"], "confidence", self.page) or _USUAL

    def _at_least(self) -> list[Wanted]:
        if "at-least" not in self.fields:
            return []
        place = self.fields["at-least"]
        share = read_share(place, "at-least", self.page)
        confidence = self._confidence(self.fields)
        if share is None or not self._supported("at-least", share, confidence, place):
            return []
        return [AtLeast(share=share, confidence=confidence)]

    def _latencies(self) -> list[Wanted]:
        if "latency" not in self.fields:
            return []
        node = self.fields["latency"]
        entries = LATENCIES.open(node, self.page) if isinstance(node, Seq) else [node]
        found = [self._latency(entry) for entry in entries]
        if not _reaches(self.case):
            what = "latency: no step has a `within`, so nothing takes a time"
            self.page.wrong(node, what, "within: 1 s")
        return [one for one in found if one is not None]

    def _latency(self, node: Node) -> Percentile | None:
        page = self.page
        fields = LATENCY.open(node, page)
        if fields is None or "percentile" not in fields:
            return None
        share = read_share(fields["percentile"], "percentile", page)
        below = DURATION.at(fields, "below", page)
        confidence = self._confidence(fields)
        if share is None or below is None:
            return None
        looks, path = max((self._sampling(e) for e in _reaches(self.case)), default=(0, ""))
        if below < looks:
            what = f"below: {show_duration(below)} is finer than the looks at {path}"
            every = show_duration(Duration(looks))
            page.wrong(fields["below"], f"{what}, one every {every}", f"at least {every}")
        if not self._supported("percentile", share, confidence, fields["percentile"]):
            return None
        return Percentile(share=share, confidence=confidence, below=below)

    def _sampling(self, expectation: Expectation) -> tuple[int, str]:
        """Return the longest time between two looks that it waits for, and at which signal."""
        signals = self.scope.signals
        return max((signals[path].sampling or 0, path) for path in expectation.signals)

    def _supported(self, word: str, share: Decimal, confidence: Decimal, place: Node) -> bool:
        if not self.count or supports(self.count, share, confidence):
            return True
        least = least_trials(share, confidence)
        what = (
            f"{word}: {self.count} trials cannot show {show_share(share)} with "
            f"{show_share(confidence)} confidence, not even without a failure"
        )
        self.page.wrong(place, what, f"trials: {least}, or {word}: {self._highest(confidence)}")
        return False

    def _highest(self, confidence: Decimal) -> str:
        """Return the highest share that so many trials can show, rounded down: (1 − c)^(1/n)."""
        highest = (1 - confidence) ** (1 / Decimal(self.count))
        return show_share(highest.quantize(Decimal("0.0001"), rounding="ROUND_FLOOR"))

    def _traffic(self) -> list[Expectation]:
        if "traffic" not in self.fields:
            return []
        node, page = self.fields["traffic"], self.page
        entries = TRIAL_TRAFFICS.open(node, page) if isinstance(node, Seq) else [node]
        found = []
        for entry in entries:
            fields = TRIAL_TRAFFIC.open(entry, page)
            if fields is not None:
                when = "in all trials"
                found += read_limits(fields, "node", entry, ENDLESS_WINDOW, when, self.scope, page)
        return found


def _reaches(case: Case) -> list[Expectation]:
    return [
        expectation
        for step in case.steps
        for expectation in step.expectations
        if expectation.timing.within is not None and expectation.measure is None
    ]
