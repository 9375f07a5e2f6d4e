"""The rack as the bench file describes it: nodes, addresses, signals, layouts.

These are the frozen descriptions that the reader (hil.files) makes, that links and software
nodes work from, and that nobody changes.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import Enum
from typing import TYPE_CHECKING, NamedTuple

from hil.core.instant import Duration
from hil.core.signal import Signal
from hil.wire.programs import Programs
from hil.wire.segment import Bus
from hil.wire.stand_in import StandIn

if TYPE_CHECKING:
    from hil.wire.announce import Discovery
    from hil.wire.coap.description import Coap
    from hil.wire.console.description import Console
    from hil.wire.disturbance import RelayScript


class Address(NamedTuple):
    """Where a node is: an IPv4 or IPv6 address in text form, and a UDP port.

    Port 0 is no UDP port: then `host` names the device of a serial line.
    """

    host: str
    port: int

    def __str__(self) -> str:
        if not self.port:
            return self.host
        return f"[{self.host}]:{self.port}" if ":" in self.host else f"{self.host}:{self.port}"


@dataclass(slots=True, unsafe_hash=True)
class Envelope:
    """A datagram on the segment: from where, to where, what.

    Treat it as frozen; it is not declared so because making one must be cheap.
    """

    source: Address
    destination: Address
    payload: bytes


def far_end(line: Address) -> Address:
    """Return the tool's end of a serial line; the other end is the node's."""
    return Address(f"{line.host} (tool)", 0)


class Role(Enum):
    """What a layout is for.

    READING   node → listeners, without being asked
    REQUEST   tool → node: drive a signal, ask for a reading, ask to be kept informed
    ANSWER    node → tool: the answer to a request, with the request's number
    ANNOUNCE  node → everybody, or who asked: who it is (hil.wire.announce)
    ASK       tool → everybody: who is there?
    """

    READING = "reading"
    REQUEST = "request"
    ANSWER = "answer"
    ANNOUNCE = "announce"
    ASK = "ask"


class Carries(Enum):
    """What a field carries.

    VALUE      the value of the signal that the operation is about (requests and answers)
    SIGNAL     the value of the signal named in `Field.name`
    PLAIN      a number, label or text with no further meaning here
    CONSTANT   always the same; tells layouts apart
    NODE       the node's number on the bus
    SEQUENCE   counts this node's readings
    REQUEST    the request's number, returned in the answer
    OPERATION  what is asked for
    STATUS     0 for done, anything else is a refusal
    UPTIME     the node's own time since it booted
    BOOTS      how often the node has booted
    LENGTH     octets of the whole datagram
    CRC        the check over everything before it
    PADDING    zeros, not looked at
    """

    VALUE = "value"
    SIGNAL = "signal"
    PLAIN = "plain"
    CONSTANT = "constant"
    NODE = "node"
    SEQUENCE = "sequence"
    REQUEST = "request"
    OPERATION = "operation"
    STATUS = "status"
    UPTIME = "uptime"
    BOOTS = "boots"
    LENGTH = "length"
    CRC = "crc"
    PADDING = "padding"


@dataclass(frozen=True, slots=True, kw_only=True)
class Crc:
    """A CRC by its full parameters (Williams' model), with its check over ASCII `123456789`."""

    width: int
    polynomial: int
    start: int
    reflect_in: bool
    reflect_out: bool
    final_xor: int
    check: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field of a layout, in the order of the wire.

    `form` is one of u8 i8 u16 i16 u24 i24 u32 i32 u48 i48 u64 i64 f32 f64 bytes text pad bits;
    `size` is its length in octets.  `order` gives, for each octet as sent, its place in the
    big-endian form: (0, 1, 2, 3) is big, (3, 2, 1, 0) little, (2, 3, 0, 1) words swapped,
    (1, 0, 3, 2) octets swapped within words.  A `bits` field is an unsigned word of `size`
    octets whose `parts` are (field, shift, width), shift counted from the least significant bit.
    `tick` is the length of one count of an uptime.  `labels` name the counts of a plain label.
    """

    name: str
    form: str
    size: int
    carries: Carries = Carries.PLAIN
    order: tuple[int, ...] = ()
    constant: int | bytes | None = None
    labels: Mapping[int, str] = field(default_factory=dict)
    tick: Duration = Duration(1_000_000)
    crc: Crc | None = None
    parts: "tuple[tuple[Field, int, int], ...]" = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Encoding:
    """How a signal's value becomes a raw number, the same in every layout that carries it.

    value = raw × scale + offset.  `sentinels` are inclusive raw ranges that mean "no reading";
    `low` and `high` the raw range that means a measurement.  `labels` map raw numbers to labels.
    All of it is decided on the raw number, before scaling.
    """

    scale: Decimal = Decimal(1)
    offset: Decimal = Decimal(0)
    sentinels: tuple[tuple[int, int], ...] = ()
    low: int | None = None
    high: int | None = None
    labels: Mapping[int, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Example:
    """A worked example of a layout: these bytes carry these raw or decoded values."""

    raw: bytes
    values: Mapping[str, Decimal | str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """One kind of datagram; exact length unless `append_allowed`."""

    name: str
    role: Role
    fields: tuple[Field, ...]
    examples: tuple[Example, ...] = ()
    append_allowed: bool = False

    @property
    def size(self) -> int:
        return sum(part.size for part in self.fields)


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """Who a node must be: serial number, and firmware as a requirement like `>= 1.10`."""

    serial: str = ""
    firmware: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Node:
    """One participant: where it is, who it must be, what it carries and how.

    `number` is its number on the bus.  `operations` gives, for each driven signal, the operation
    that drives it; `read` is the operation that asks for a reading (None: cannot be asked) and
    `poll` how often it is asked; `listen` asks to be kept informed and is repeated every `renew`.
    `readings_to` is the group that it tells its readings by itself.  With `any_source` what it
    says from another address counts as well: it has more than one.
    """

    name: str
    number: int
    address: Address
    identity: Identity
    signals: tuple[Signal, ...]
    encodings: Mapping[str, Encoding]
    layouts: tuple[Layout, ...]
    operations: Mapping[str, int]
    answer_within: Duration
    read: int | None = None
    poll: Duration | None = None
    listen: int | None = None
    renew: Duration | None = None
    readings_to: Address | None = None
    any_source: bool = False
    console: "Console | None" = None
    coap: "Coap | None" = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Software:
    """The software model of the rack: which one, its seed, its settings (text, as written)."""

    model: str
    seed: int
    settings: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rack:
    """A bench file, read: the nodes of one rack and how to reach them.

    `depends` names for a signal, in full, those that it follows; `programs` are by the signals
    that the bench computer drives itself, of a node or of the whole `rack`.
    """

    name: str
    file: str
    digest: str
    interface: str
    host: str
    late_bound: Duration
    nodes: tuple[Node, ...]
    software: Software | None
    bus: Bus | None = None
    relay: "RelayScript | None" = None
    stand_in: StandIn | None = None
    programs: Mapping[str, Programs] = field(default_factory=dict)
    depends: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    alarms: str = ""
    discovery: "Discovery | None" = None

    def signals(self) -> dict[str, Signal]:
        """Return every signal of the rack by its full name."""
        found = {signal.path: signal for node in self.nodes for signal in node.signals}
        return found | {path: each.signal for path, each in self.programs.items()}
