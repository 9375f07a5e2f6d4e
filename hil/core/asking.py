"""A step that asks a person: to act, or to look.

    act    WAITING → ASKING → WATCHING      the expectations count from "done"
    look   WATCHING → ASKING                the stimulus first, then the question

An action is done when the person says so.  Where all its expectations are a plain `within` and
none of them is fulfilled at the question, the step also goes on by itself as soon as all of them
are: hands that cover a sensor need not touch the keyboard.  The value in force at that moment
counts, for the effect comes before the word.

A bench that has something to stand in for the person (`by`) drives or looks at that instead; the
journal says so.  Who does not answer, or cannot tell, leaves the step inconclusive.
"""

from collections.abc import Container, Sequence
from dataclasses import dataclass, replace

from hil.core.condition import Grade, grader
from hil.core.errand import Prompt, Replied, Reply, Unmanned, Withdrawn
from hil.core.event import OperatorAnswered, OperatorAsked
from hil.core.instant import ZERO, Instant, after, show_duration, since
from hil.core.observation import Observation, Samples
from hil.core.plan import Ask, Case, Expectation, Step, Unchanged
from hil.core.scene import Scene
from hil.core.step import StepRun
from hil.core.verdict import Outcome, worst
from hil.core.wording import place

SEEN = "seen"
NOTHING = "nothing"

_OF_STAND_IN = {Outcome.PASS: Reply.YES, Outcome.FAIL: Reply.NO}


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of a question: the words of the journal, when, and from whom."""

    word: str
    at: Instant
    by: str
    why: str = ""


class AskedStep:
    """The machine of one step that asks."""

    def __init__(
        self, scene: Scene, case: Case, index: int, step: Step, number: int, start: Instant
    ) -> None:
        assert step.ask is not None
        self._scene, self._case, self._step, self._ask = scene, case, step, step.ask
        self._index, self._number = index, number
        self._where = place(case.title, number)
        self._resume: Instant | None = None
        self._question: Question | None = None
        self._watching: StepRun | None = None
        self.done = False
        self.outcomes: list[Outcome] = []
        self.reasons: list[str] = []
        self.blamed: list[str] = []
        self.unsure: list[str] = []
        if self._ask.act and not self._ask.by:
            self._resume = after(start, step.wait)
        else:
            self._watch(step, start)
        self._advance(start)

    # --- the machine ---------------------------------------------------------------------------

    def receive(self, seen: Observation, now: Instant) -> None:
        """Take in an answer, or whatever the part that is on waits for."""
        if self._question is not None:
            self._question.receive(seen, now)
        if self._watching is not None:
            self._watching.receive(seen, now)
        self._advance(now)

    def tick(self, now: Instant) -> None:
        """Let time reach `now`."""
        if self._question is not None:
            self._question.tick(now)
        if self._watching is not None:
            self._watching.tick(now)
        self._advance(now)

    def next_wakeup(self) -> Instant | None:
        """Return when the part that is on wants to be woken."""
        if self._resume is not None:
            return self._resume
        part = self._question or self._watching
        return None if part is None else part.next_wakeup()

    def heeds(self) -> Container[str]:
        """Return the nodes whose samples may change anything now."""
        part = self._question or self._watching
        return () if part is None else part.heeds()

    def take_sends(self) -> tuple[()]:
        """Return nothing: questions and commands leave through the scene's driving."""
        return ()

    def break_off(self, reason: str, now: Instant) -> None:
        """Take the question back; the run ends here."""
        if self._question is not None:
            self._question.end(Answer(NOTHING, now, "nobody", reason))
            self._question = None
        if self._watching is not None:
            self._watching.break_off(reason, now)

    # --- parts ---------------------------------------------------------------------------------

    def _advance(self, now: Instant) -> None:
        if self._resume is not None and now >= self._resume:
            self._resume = None
            self._put(now)
        if self._question is not None and self._question.answer is not None:
            answer, self._question = self._question.answer, None
            self._take(answer, now)
        if self._watching is not None and self._watching.done:
            watching, self._watching = self._watching, None
            self._take_over(watching, now)

    def _put(self, now: Instant) -> None:
        seen = self._step.expectations if self._ask.act else ()
        self._question = Question(self._scene, self._ask, seen, self._index, self._number, now)

    def _watch(self, step: Step, now: Instant) -> None:
        """Drive and watch: all of it, but without the question."""
        if self._ask.by:
            self._told = _asked(self._scene, self._ask, self._index, self._number, now)
        self._watching = StepRun(self._scene, self._case, self._index, step, self._number, now)

    def _take(self, answer: Answer, now: Instant) -> None:
        """Go on with what was answered."""
        wanted = (Reply.YES.value, SEEN) if self._ask.act else (self._ask.wanted,)
        if answer.word in wanted:
            if self._ask.act:
                self._watch(replace(self._step, wait=ZERO), now)
            else:
                self._end(Outcome.PASS)
        elif answer.word in (Reply.YES.value, Reply.NO.value) and not self._ask.act:
            self._end(Outcome.FAIL, f"the operator answered {answer.word} to: {self._ask.text}")
            stimulated = (self._scene.signals[each.signal].node for each in self._step.stimuli)
            self.blamed += dict.fromkeys(stimulated)
        else:
            self._end(Outcome.INCONCLUSIVE, f"{self._unclear(answer)}: {self._ask.text}")

    def _unclear(self, answer: Answer) -> str:
        if answer.word == NOTHING:
            limit = show_duration(self._ask.within)
            return answer.why or f"nobody answered within {limit}"
        if answer.word == Reply.NO.value:
            return "the operator could not do it"
        return "the operator cannot tell"

    def _end(self, outcome: Outcome, reason: str = "") -> None:
        self.done = True
        self.outcomes.append(outcome)
        if reason:
            self.reasons.append(f"{self._where}: {reason}")

    def _take_over(self, part: StepRun, now: Instant) -> None:
        self.outcomes += part.outcomes
        self.reasons += part.reasons
        self.blamed += part.blamed
        self.unsure += part.unsure
        passed = all(outcome is Outcome.PASS for outcome in part.outcomes)
        if self._ask.by:
            self._told(self._stood_in(part.outcomes), now, "bench")
        elif passed and not self._ask.act:
            self._put(now)
            return
        self.done = True

    def _stood_in(self, outcomes: Sequence[Outcome]) -> str:
        """Return what a person would have answered where the bench looked, or acted."""
        outcome = worst([Outcome.PASS, *outcomes])
        reply = _OF_STAND_IN.get(outcome, Reply.UNSURE)
        if self._ask.act:
            return Reply.YES.value if outcome is Outcome.FAIL else reply.value
        if self._ask.wanted == Reply.NO.value and reply is not Reply.UNSURE:
            reply = Reply.NO if reply is Reply.YES else Reply.YES
        return reply.value


class Question:
    """The machine of one question to a person; over when it has an `answer`."""

    def __init__(
        self,
        scene: Scene,
        ask: Ask,
        expectations: Sequence[Expectation],
        index: int,
        step: int,
        start: Instant,
    ) -> None:
        self._scene, self._ask, self._start = scene, ask, start
        self._until = after(start, ask.within)
        self._token = scene.driving.fresh()
        self._told = _asked(scene, ask, index, step, start)
        self._awaited = _awaited(scene, expectations)
        self.answer: Answer | None = None
        scene.driving.wish(Prompt(token=self._token, act=ask.act, text=ask.text, until=self._until))

    def receive(self, seen: Observation, now: Instant) -> None:
        """Take in an answer; or see that the action has had its effect."""
        if self.answer is not None:
            return
        if isinstance(seen, Replied) and seen.token == self._token:
            self.end(Answer(seen.reply.value, now, "person"))
        elif isinstance(seen, Unmanned):
            self.end(Answer(NOTHING, now, "nobody", f"nobody can answer, {seen.text}"))
        elif isinstance(seen, Samples) and self._awaited and self._all_good():
            self.end(Answer(SEEN, now, "nobody"))
        else:
            self.tick(now)

    def tick(self, now: Instant) -> None:
        """Give up when the time for an answer is over."""
        if self.answer is None and now > self._until:
            self.end(Answer(NOTHING, now, "nobody"))

    def next_wakeup(self) -> Instant | None:
        """Return the first moment after the last at which an answer counts."""
        return None if self.answer is not None else Instant(self._until + 1)

    def heeds(self) -> Container[str]:
        """Return the nodes that show the effect of an action."""
        signals = self._scene.signals
        return {signals[path].node for one in self._awaited for path in one.signals}

    def end(self, answer: Answer) -> None:
        """Take the question back, and write down what came of it."""
        self.answer = answer
        self._scene.driving.wish(Withdrawn(token=self._token, outcome=answer.word))
        self._told(answer.word, answer.at, answer.by)

    def _all_good(self) -> bool:
        return all(
            _is_good(self._scene, one, path) for one in self._awaited for path in one.signals
        )


class _Told:
    """A question in the journal, which lacks its answer."""

    def __init__(self, scene: Scene, asked: OperatorAsked, start: Instant) -> None:
        self._scene, self._asked, self._start = scene, asked, start

    def __call__(self, answer: str, now: Instant, by: str) -> None:
        asked = self._asked
        self._scene.events.append(
            OperatorAnswered(
                at=self._scene.since_origin(now),
                index=asked.index,
                step=asked.step,
                what=asked.what,
                text=asked.text,
                answer=answer,
                by=by,
                took=since(self._start, now),
            )
        )


def _asked(scene: Scene, ask: Ask, index: int, step: int, start: Instant) -> _Told:
    asked = OperatorAsked(
        at=scene.since_origin(start),
        index=index,
        step=step,
        what="act" if ask.act else "look",
        text=ask.text,
        within=ask.within,
        stand_in=ask.by,
        place=str(ask.mark),
    )
    scene.events.append(asked)
    return _Told(scene, asked, start)


def _awaited(scene: Scene, expectations: Sequence[Expectation]) -> Sequence[Expectation]:
    """Return what shows by itself that an action is done; nothing where it cannot be told.

    What is so already, or is not known, says nothing; nor does what must last, or not come.
    """
    for one in expectations:
        if one.measure is not None or one.timing.within is None:
            return ()
        for path in one.signals:
            if path not in scene.latest or _is_good(scene, one, path):
                return ()
    return expectations


def _is_good(scene: Scene, expectation: Expectation, path: str) -> bool:
    condition = expectation.condition
    if isinstance(condition, Unchanged):  # only a step run knows from what
        return True
    return grader(condition)(scene.latest[path]) is Grade.GOOD
