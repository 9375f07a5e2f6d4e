"""Journal events: everything a run knows, one line each.

Every report is made from these lines and from nothing else, so a run that was killed half-way
still reports what it judged.  One event is one JSON object with `at` (nanoseconds since the run
began, a whole number) and `event` (its kind); the other keys are the fields of its class below.
Values are text, in the signal's own unit; raw bytes are lower-case hex.

Nothing in a journal names the machine, the process or the wall clock, so that two virtual runs
of the same plans are byte for byte the same.  Who ran it, where and when is in `about.json`
beside it.
"""

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
from hil.core.event.line import KINDS, read, read_all, render, render_datagram
from hil.core.event.operator import BenchCommand, OperatorAnswered, OperatorAsked
from hil.core.event.rack import ActuatorSafe, HostNoted, NodeConfirmed, NodeIdentified, NodeNoted
from hil.core.event.run import BenchFile, Datagram, ForeignDatagram, RunEnded, RunStarted

__all__ = [
    "KINDS",
    "ActuatorSafe",
    "AlarmCoverage",
    "AlarmPoint",
    "AlarmProperty",
    "AlarmSpec",
    "BenchCommand",
    "BenchFile",
    "BusHealth",
    "CaseEnded",
    "CaseStarted",
    "CheckDecided",
    "CommandLogged",
    "ConsoleLine",
    "Datagram",
    "Disturbed",
    "Event",
    "ForeignDatagram",
    "HostNoted",
    "KnownFault",
    "NodeConfirmed",
    "NodeIdentified",
    "NodeNoted",
    "OperatorAnswered",
    "OperatorAsked",
    "RunEnded",
    "RunStarted",
    "SegmentSeen",
    "StepStarted",
    "TrialEnded",
    "read",
    "read_all",
    "render",
    "render_datagram",
]
