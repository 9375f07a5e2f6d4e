"""What people and programs of the bench did, as the journal tells it."""

from dataclasses import dataclass
from typing import ClassVar

from hil.core.event.event import Event


@dataclass(frozen=True, slots=True, kw_only=True)
class OperatorAsked(Event):
    """A step asks for something that only a person can do or see.

    `what` is act or look, `within` the time for an answer.  `stand_in` says what the bench does or
    looks at instead of a person, empty where a person is asked.
    """

    kind: ClassVar[str] = "operator-asked"
    index: int
    step: int
    what: str
    text: str
    within: int
    stand_in: str
    place: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OperatorAnswered(Event):
    """What came of it: `answer` is yes, no, can't tell, seen (nobody needed to say it) or nothing.

    `took` is the time from the question, `by` is person, bench or nobody.
    """

    kind: ClassVar[str] = "operator-answered"
    index: int
    step: int
    what: str
    text: str
    answer: str
    by: str
    took: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchCommand(Event):
    """A program of the bench ended, which drove `signal` to `value`.

    `argv` is its argument list as declared, `how` how it ended, `code` its exit code where it had
    one, `took` how long it ran; it printed `size` octets, of which `head` and `tail` are kept.
    """

    kind: ClassVar[str] = "bench-command"
    signal: str
    value: str
    argv: tuple[str, ...]
    how: str
    code: int | None
    took: int
    size: int
    head: str
    tail: str
