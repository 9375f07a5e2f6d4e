"""Recorded answers of the person at the bench, to be given again when the same is asked.

An answer belongs to the wording of its question: another wording is another question, which nobody
was asked.  Where nobody could be asked then, nobody can be asked now.
"""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass

from hil.core.errand import Prompt, Replied, Reply, Unmanned
from hil.core.event import Event, OperatorAnswered, OperatorAsked
from hil.core.instant import Duration, Instant

UNANSWERED = "nobody could be asked when this was recorded"
_REPLIES = {reply.value: reply for reply in Reply}
_Key = tuple[int, bool, str]


@dataclass(frozen=True, slots=True)
class _Said:
    """A question that was put, what was answered and when; `within` was the time for it."""

    asked: Instant
    answered: OperatorAnswered
    within: Duration


class Answers:
    """All answers of a recording, each given out once; those of `index` to its case alone."""

    def __init__(self, recorded: Iterable[Event]) -> None:
        self._said: dict[_Key, deque[_Said]] = {}
        asked: OperatorAsked | None = None
        for event in recorded:
            if isinstance(event, OperatorAsked):
                asked = None if event.stand_in else event
            elif isinstance(event, OperatorAnswered) and asked is not None:
                key = event.index, event.what == "act", event.text
                said = _Said(asked.at, event, Duration(asked.within))
                self._said.setdefault(key, deque()).append(said)
                asked = None

    def take(
        self, prompt: Prompt, index: int, now: Instant
    ) -> tuple[Instant, Replied | Unmanned] | None:
        """Return what was answered to this question and when; None where nobody said anything.

        What was seen by itself is no answer: it is seen again, or not.
        """
        waiting = self._said.get((index, prompt.act, prompt.text), deque())
        while waiting and waiting[0].answered.at < now:
            waiting.popleft()
        if not waiting:
            return None
        said = waiting.popleft()
        answered, at = said.answered, said.answered.at
        reply = _REPLIES.get(answered.answer) if answered.by == "person" else None
        if reply is not None:
            return at, Replied(token=prompt.token, at=at, reply=reply)
        if (
            answered.by == "nobody"
            and answered.answer == "nothing"
            and at <= said.asked + said.within
        ):
            return at, Unmanned(at=at, text=UNANSWERED)
        return None
