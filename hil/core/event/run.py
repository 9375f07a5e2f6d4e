"""A run begins and ends; what it sent and heard."""

from dataclasses import dataclass
from typing import ClassVar

from hil.core.event.event import Event


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
class BenchFile(Event):
    """The bench file of the run, whole, so that its datagrams can be read without the file."""

    kind: ClassVar[str] = "bench-file"
    file: str
    digest: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Datagram(Event):
    """One datagram: `way` is out or in, `node` whom it concerns, `hex` all of its bytes."""

    kind: ClassVar[str] = "datagram"
    way: str
    node: str
    hex: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ForeignDatagram(Event):
    """A datagram for the tool's socket of `node` from another address, `peer`."""

    kind: ClassVar[str] = "foreign-datagram"
    node: str
    peer: str
    hex: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RunEnded(Event):
    """The last line.  `aborted` is the reason, or empty; `safe` whether every actuator is."""

    kind: ClassVar[str] = "run-ended"
    outcome: str
    counts: dict[str, int]
    aborted: str
    safe: bool
