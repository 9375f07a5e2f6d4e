"""One event, one line of JSON: writing it fast, reading it back with care."""

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import fields
from typing import Any

from hil.core.event.alarm import AlarmCoverage, AlarmPoint, AlarmProperty, AlarmSpec
from hil.core.event.bus import BusHealth, Disturbed, SegmentSeen
from hil.core.event.case import (
    CaseEnded,
    CaseStarted,
    CheckDecided,
    CommandLogged,
    StepStarted,
    TrialEnded,
)
from hil.core.event.console import ConsoleLine
from hil.core.event.event import Event
from hil.core.event.known import KnownFault
from hil.core.event.operator import BenchCommand, OperatorAnswered, OperatorAsked
from hil.core.event.rack import ActuatorSafe, HostNoted, NodeConfirmed, NodeIdentified, NodeNoted
from hil.core.event.run import BenchFile, Datagram, ForeignDatagram, RunEnded, RunStarted
from hil.core.instant import Instant

KINDS: dict[str, type[Event]] = {
    cls.kind: cls
    for cls in (
        RunStarted,
        BenchFile,
        KnownFault,
        NodeIdentified,
        Datagram,
        ForeignDatagram,
        ConsoleLine,
        CaseStarted,
        StepStarted,
        CommandLogged,
        OperatorAsked,
        OperatorAnswered,
        BenchCommand,
        CheckDecided,
        TrialEnded,
        AlarmSpec,
        AlarmPoint,
        AlarmProperty,
        AlarmCoverage,
        CaseEnded,
        NodeNoted,
        NodeConfirmed,
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
        names = _NAMES[cls]
        known = {
            name: _frozen(value) if type(value) is list else value
            for name, value in shown.items()
            if name in names
        }
        at = shown["at"]
        return cls(at=Instant(at), **known) if type(at) is int else None
    except (ValueError, KeyError, TypeError, AttributeError):
        return None


def read_all(lines: Iterable[str]) -> Iterator[Event]:
    """Read every line that can be read."""
    for line in lines:
        event = read(line)
        if event is not None:
            yield event


def _frozen(value: Any) -> Any:
    if isinstance(value, list):
        return tuple(_frozen(part) for part in value)
    return value
