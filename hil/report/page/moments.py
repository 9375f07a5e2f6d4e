"""The moments of a check on the axis of time, and the windows in which something was wanted.

timing               windows                          moments
within D             wanted 0 to D                    stimulus, deadline
within D, hold H     wanted 0 to D + H                stimulus, deadline, end of the hold
not before N                                          not before
during A to B        wanted A to B                    stimulus, from, to
never D              not wanted 0 to D                stimulus, until
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from hil.core.event import CheckDecided, Event, OperatorAsked
from hil.core.instant import Duration, show_duration
from hil.report.drawing import wide

ROWS = 2
_SIZE = 11


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """One instant, counted from the stimulus in nanoseconds, with its words."""

    at: int
    words: str
    weight: float = 1
    dashes: str = ""
    decides: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """From `start` to `end` a value within `limits` was wanted, or was not to be."""

    start: int
    end: int
    limits: tuple[str, ...]
    wanted: bool


STIMULUS, START, DONE, QUESTION = "the stimulus", "the beginning", "the word done", "the question"
BEGINNINGS = {START: "case began", STIMULUS: "stimulus", DONE: "done", QUESTION: "asked"}
"""What times count from, and how that stands at its moment."""


def origin_of(check: CheckDecided, asked: Iterable[Event] = ()) -> str:
    """Return what the times of a check count from; `asked` are the questions of its case.

    A person's action is over at the word done; a bench that looks instead looks from the question.
    """
    for event in asked:
        if isinstance(event, OperatorAsked) and event.step == check.step:
            if event.what == "act":
                return STIMULUS if event.stand_in else DONE
            return QUESTION if event.stand_in else STIMULUS
    return STIMULUS if check.step else START


def windows_of(check: CheckDecided) -> list[Window]:
    """Return the windows of a check; none where its condition is not known in numbers."""
    if len(check.limits) < 2:
        return []
    times = dict(check.timing)
    wanted = check.limits[0] in ("between", "one of")
    if "within" in times:
        end = times["within"] + times.get("hold", 0)
        return [Window(start=0, end=end, limits=check.limits, wanted=wanted)]
    if "to" in times:
        start = times.get("from", 0)
        return [Window(start=start, end=times["to"], limits=check.limits, wanted=wanted)]
    if "never" in times:
        return [Window(start=0, end=times["never"], limits=check.limits, wanted=not wanted)]
    return []


def moments_of(check: CheckDecided, origin: str = "") -> list[Moment]:
    """Return the moments of a check in the order of time, which counts from `origin`."""
    times = dict(check.timing)
    found = [Moment(at=0, words=BEGINNINGS[origin or origin_of(check)], weight=2)]
    if "within" in times:
        found.append(_limit(times["within"], "deadline"))
        if "hold" in times:
            end = times["within"] + times["hold"]
            words = f"held {show_duration(Duration(times['hold']))}, at the latest until here"
            found.append(Moment(at=end, words=words, dashes="2 3"))
    if "not before" in times:
        found.append(_limit(times["not before"], "not before"))
    if "to" in times:
        if times.get("from"):
            found.append(_limit(times["from"], "from"))
        found.append(_limit(times["to"], "until"))
    if "never" in times:
        found.append(_limit(times["never"], "until"))
    decided = check.elapsed
    if decided is None and check.stimulus is not None and not times:
        decided = check.at - check.stimulus
    if decided is not None:
        words = f"decided {show_duration(Duration(decided))}"
        found.append(Moment(at=decided, words=words, dashes="1 2", decides=True))
    elif "within" in times:
        words = "decided at the deadline"
        found[1] = Moment(at=times["within"], words=words, weight=2, dashes="6 3", decides=True)
    return sorted(found, key=lambda moment: moment.at)


def set_labels(
    moments: Sequence[Moment], place: Callable[[int], float], right: float
) -> Iterator[tuple[Moment, float, int]]:
    """Yield each moment with its place and the row in which its words have room."""
    ends = [float("-inf")] * ROWS
    for moment in moments:
        x = min(place(moment.at), right)
        length = wide(moment.words, _SIZE) + 10
        start = x - length if x > 0.72 * (right + 24) else x
        row = next((at for at, end in enumerate(ends) if start >= end), ROWS - 1)
        ends[row] = max(ends[row], start + length)
        yield moment, x, row


def _limit(at: int, name: str) -> Moment:
    words = f"{name} {show_duration(Duration(at))}"
    return Moment(at=at, words=words, weight=2, dashes="6 3")
