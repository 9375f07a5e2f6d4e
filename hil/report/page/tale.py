"""What happened beside the checks of a case, one line each: people, programs, oddities."""

from collections.abc import Iterator
from dataclasses import dataclass

from hil.core.event import Event
from hil.core.verdict import Outcome
from hil.report.page.dossier import Chapter
from hil.report.page.filters import duration

MOST = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line: when (nanoseconds since the run began), who, what."""

    at: int
    who: str
    what: str


def tales_of(chapter: Chapter) -> list[Line]:
    """Return what else happened during an attempt; trials only where they did not pass."""
    lines = [line for event in chapter.tales for line in _told(event)]
    if len(lines) <= MOST:
        return lines
    more = f"{len(lines) - MOST} more; the journal has all of them"
    return [*lines[:MOST], Line(at=lines[MOST].at, who="", what=more)]


def console_of(chapter: Chapter) -> list[Line]:
    """Return what nodes wrote on their consoles during an attempt."""
    lines = []
    for event in chapter.console:
        cut = " (cut here)" if getattr(event, "cut", False) else ""
        who = f"{'to' if _of(event, 'way') == 'out' else 'from'} {_of(event, 'node')}"
        lines.append(Line(at=event.at, who=who, what=_of(event, "text") + cut))
    return lines


def _told(event: Event) -> Iterator[Line]:
    match event.kind:
        case "operator-asked":
            stand_in = _of(event, "stand_in")
            aside = f" (instead of a person: {stand_in})" if stand_in else ""
            yield Line(at=event.at, who="asked", what=f"{_of(event, 'text')}{aside}")
        case "operator-answered":
            took = duration(getattr(event, "took", None))
            answer = f"{_of(event, 'answer')}, after {took}"
            yield Line(at=event.at, who=_of(event, "by") or "nobody", what=answer)
        case "bench-command":
            yield Line(at=event.at, who="program", what=_program(event))
        case "node-note":
            what = f"{_of(event, 'trouble')}: {_of(event, 'text')}"
            yield Line(at=event.at, who=_of(event, "node"), what=what)
        case "disturbed":
            what = f"disturbs from here as {_of(event, 'place')} says"
            yield Line(at=event.at, who="relay", what=what)
        case "trial" if _of(event, "outcome") != Outcome.PASS.word:
            reasons = "; ".join(getattr(event, "reasons", ()))
            what = f"{getattr(event, 'number', '')}: {_of(event, 'outcome')}: {reasons}"
            yield Line(at=event.at, who="trial", what=what)


def _program(event: Event) -> str:
    words = " ".join(getattr(event, "argv", ()))
    code = getattr(event, "code", None)
    ended = _of(event, "how") + ("" if code is None else f", exit code {code}")
    printed = " … ".join(part for part in (_of(event, "head"), _of(event, "tail")) if part)
    said = f"; it printed: {printed}" if printed else ""
    took = duration(getattr(event, "took", None))
    return f"{words} ({_of(event, 'signal')} to {_of(event, 'value')}): {ended}, {took}{said}"


def _of(event: Event, name: str) -> str:
    """Return a text of an event of a kind that this file knows by name only."""
    return str(getattr(event, name, ""))
