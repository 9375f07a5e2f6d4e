"""Journal events: everything a run knows, one line each.

Every report is made from these lines and from nothing else, so a run that was killed half-way
still reports what it judged.  One event is one JSON object with `at` (nanoseconds since the run
began, a whole number) and `event` (its kind); the other keys are the fields of its class below.
Values are text, in the signal's own unit; raw bytes are lower-case hex.

Nothing in a journal names the machine, the process or the wall clock, so that two virtual runs
of the same plans are byte for byte the same.  Who ran it, where and when is in `about.json`
beside it.
"""

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields
from typing import Any, ClassVar

from hil.core.instant import Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """What all events share."""

    kind: ClassVar[str] = ""
    at: Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class RunStarted(Event):
    """The first line.  `cases` lists every selected case as (plan file, title), in order."""

    kind: ClassVar[str] = "run-started"
    tool: str
    bench: str
    bench_file: str
    bench_digest: str
    virtual: bool
    stamps: str
    plans: tuple[tuple[str, str, str], ...]
    cases: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Datagram(Event):
    """One datagram: `way` is out or in, `node` whom it concerns, `hex` all of its bytes."""

    kind: ClassVar[str] = "datagram"
    way: str
    node: str
    hex: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseStarted(Event):
    """A case begins; `attempt` counts from 1, `index` from 0 in the list of RunStarted."""

    kind: ClassVar[str] = "case-started"
    index: int
    plan: str
    case: str
    attempt: int
    place: str
    requirements: tuple[str, ...]
    tags: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StepStarted(Event):
    """A step begins; `step` counts from 1, 0 is the precondition."""

    kind: ClassVar[str] = "step-started"
    index: int
    step: int
    place: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CommandLogged(Event):
    """A command and what became of it: `state` is sent, accepted, refused or lost."""

    kind: ClassVar[str] = "command"
    token: int
    signal: str
    value: str
    purpose: str
    state: str
    detail: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckDecided(Event):
    """One signal against one expectation.

    `elapsed` is the time from the stimulus to what decided the check; `change` the interval in
    which the deciding change lies, both ends counted from the stimulus; `margin` a fraction of
    the window or None; `gap` the longest time without a look at the signal; `seen` how many
    samples counted; `last` the bytes of the last datagram that carried the signal.  `figures` are
    what a measure found: (name, low, likely, high, unit), times in ns, an open end None.
    """

    kind: ClassVar[str] = "check"
    index: int
    step: int
    signal: str
    node: str
    wanted: str
    when: str
    outcome: str
    got: str
    elapsed: int | None
    change: tuple[int, int] | None
    margin: float | None
    gap: int | None
    seen: int
    text: str
    place: str
    last: str = ""
    figures: tuple[tuple[str, float, float, float | None, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmSpec(Event):
    """An alarm spec of this run, told before anything moves; numbers are text in `unit`.

    `low` and `high` are the range of the input.  `bands` are (name, colour, #rrggbb or empty,
    low, high, limits in words), from low to high.  `points` are (alarm, trip or reset, rising or
    falling, where it is specified); `searched` are (index of the case, alarm, trip or reset).
    """

    kind: ClassVar[str] = "alarm-spec"
    spec: str
    signal: str
    unit: str
    low: str
    high: str
    normal: str
    bands: tuple[tuple[str, str, str, str, str, str], ...]
    points: tuple[tuple[str, str, str, str], ...]
    searched: tuple[tuple[int, str, str], ...]
    tolerance: str
    rule: str
    place: str
    requirements: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmPoint(Event):
    """A trip or reset point was measured.

    `point` is trip or reset, `way` rising or falling: which way the input moved.  `wanted`,
    `low`, `high` (the interval in which it lies), `mean`, `spread`, `uncertainty` (expanded) and
    `difference` are numbers as text in `unit`, empty where nothing could be measured.  `repeats`
    is how many searches ended, `probes` how many probes the longest needed, `odd` the values
    whose answers did not fit, `rule` how it was decided.
    """

    kind: ClassVar[str] = "alarm-point"
    index: int
    step: int
    spec: str
    signal: str
    alarm: str
    point: str
    way: str
    wanted: str
    low: str
    high: str
    mean: str
    spread: str
    repeats: int
    probes: int
    odd: tuple[str, ...]
    uncertainty: str
    rule: str
    difference: str
    unit: str
    outcome: str
    text: str
    place: str
    requirements: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmProperty(Event):
    """One property of an alarm spec was proven, or not.

    `alarm` is the band it is about, empty for the whole spec; `measured` are (name, text) pairs;
    `outcome` may be `not run` where the proof was stopped before it could judge.
    """

    kind: ClassVar[str] = "alarm-property"
    index: int
    step: int
    spec: str
    signal: str
    alarm: str
    property: str
    outcome: str
    measured: tuple[tuple[str, str], ...]
    text: str
    place: str
    requirements: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmCoverage(Event):
    """How much of a spec was provoked.

    `what` is transitions (every ordered pair of bands) or alarms; `missing` names what was not.
    """

    kind: ClassVar[str] = "alarm-coverage"
    index: int
    step: int
    spec: str
    signal: str
    what: str
    covered: int
    of: int
    missing: tuple[str, ...]
    outcome: str
    text: str
    place: str
    requirements: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialEnded(Event):
    """One of many trials is over; `latency` is the interval it lies in, None where it failed."""

    kind: ClassVar[str] = "trial"
    index: int
    step: int
    number: int
    outcome: str
    latency: tuple[int, int] | None
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseEnded(Event):
    """A case is over; `reasons` are whole sentences for people, most important first.

    `blamed` are the nodes that failed it by something other than a check: by a reboot that nobody
    asked for, or by refusing a stimulus.
    """

    kind: ClassVar[str] = "case-ended"
    index: int
    plan: str
    case: str
    outcome: str
    attempt: int
    took: int
    reasons: tuple[str, ...]
    blamed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeNoted(Event):
    """Something odd about a node's traffic or identity."""

    kind: ClassVar[str] = "node-note"
    node: str
    trouble: str
    text: str
    hex: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HostNoted(Event):
    """Something wrong on the bench's own side."""

    kind: ClassVar[str] = "host-note"
    trouble: str
    amount: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ActuatorSafe(Event):
    """A driven signal was put to its safe value; `confirmed` says whether that was seen.

    `actuator` says whether something moves there, or whether it is an injection only.
    """

    kind: ClassVar[str] = "actuator-safe"
    signal: str
    value: str
    confirmed: bool
    text: str = ""
    actuator: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Disturbed(Event):
    """From here to the end of the case the relay does what this step of the plan says."""

    kind: ClassVar[str] = "disturbed"
    index: int
    step: int
    place: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BusHealth(Event):
    """How the bus is, as an interface or a node tells it: `facts` are (what, how it is)."""

    kind: ClassVar[str] = "bus-health"
    who: str
    facts: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SegmentSeen(Event):
    """What a simulated segment carried, from the start of the run.

    `busy` is how long frames held the line, of `elapsed`; `lost` were swallowed whole, `spoiled`
    had a bit error.  `shares` are, for each participant, its name, frames sent, waiting, refused,
    given up, collisions, time on the line, and the median, 99 % and longest access delay.
    """

    kind: ClassVar[str] = "segment"
    elapsed: int
    busy: int
    utilisation: float
    frames: int
    lost: int
    spoiled: int
    shares: tuple[tuple[str, int, int, int, int, int, int, int, int, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunEnded(Event):
    """The last line.  `aborted` is the reason, or empty; `safe` whether every actuator is."""

    kind: ClassVar[str] = "run-ended"
    outcome: str
    counts: dict[str, int]
    aborted: str
    safe: bool


KINDS: dict[str, type[Event]] = {
    cls.kind: cls
    for cls in (
        RunStarted,
        Datagram,
        CaseStarted,
        StepStarted,
        CommandLogged,
        CheckDecided,
        TrialEnded,
        AlarmSpec,
        AlarmPoint,
        AlarmProperty,
        AlarmCoverage,
        CaseEnded,
        NodeNoted,
        HostNoted,
        ActuatorSafe,
        Disturbed,
        BusHealth,
        SegmentSeen,
        RunEnded,
    )
}

_NAMES = {cls: tuple(f.name for f in fields(cls) if f.name != "at") for cls in KINDS.values()}
_dump = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode
_quote = json.encoder.encode_basestring


def render(event: Event) -> str:
    """Render an event as one line of JSON, without the line end."""
    return _RENDERERS[type(event)](event)


def render_datagram(at: Instant, way: str, node: str, octets: bytes) -> str:
    """Render a Datagram that nobody has made: most lines of a journal are of this kind."""
    shown = octets.hex()
    return f'{{"at":{at},"event":"datagram","way":"{way}","node":{_quote(node)},"hex":"{shown}"}}'


def _renderer(cls: type[Event]) -> Callable[[Event], str]:
    """Compile the line of one kind: texts quoted, whole numbers as they are, the rest by json.

    A run writes several lines for each stimulus, and json.dumps of a dict costs ten times this.
    """
    simple: dict[object, str] = {
        str: "{{quote(event.{name})}}",
        int: "{{event.{name}}}",
        Instant: "{{event.{name}}}",
    }
    shown = [f'{{{{"at":{{event.at}},"event":"{cls.kind}"']
    for part in fields(cls):
        if part.name != "at":
            form = simple.get(part.type, "{{dump(event.{name})}}")
            shown.append(f'"{part.name}":{form.format(name=part.name)}')
    source = f"lambda event: f'{','.join(shown)}}}}}'"
    made: Callable[[Event], str] = eval(source, {"quote": _quote, "dump": _dump})
    return made


_RENDERERS = {cls: _renderer(cls) for cls in KINDS.values()}


def read(line: str) -> Event | None:
    """Read one journal line back; None for a line that was cut short or is of no known kind."""
    try:
        shown = json.loads(line)
        cls = KINDS[shown.pop("event")]
        known = {name: _frozen(value) for name, value in shown.items() if name in _NAMES[cls]}
        return cls(at=Instant(int(shown["at"])), **known)
    except (ValueError, KeyError, TypeError, AttributeError):
        return None


def read_all(lines: "Iterator[str] | list[str]") -> Iterator[Event]:
    """Read every line that can be read."""
    for line in lines:
        event = read(line)
        if event is not None:
            yield event


def _frozen(value: Any) -> Any:
    if isinstance(value, list):
        return tuple(_frozen(part) for part in value)
    return value
