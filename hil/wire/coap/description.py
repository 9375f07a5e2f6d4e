"""How a CoAP node is spoken to, as its bench file says.

    Resource   what is read: a path and a format, by observing it, by polling it, or both
    Target     where a signal is driven: PUT to a path
    Part       where in a payload one value stands, and how it is written

Several signals may be parts of one resource, as the records of a SenML pack are.  What tells who a
node is and in which life (`FACTS`) is read from resources, too.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from hil.core.instant import MILLISECOND, SECOND, Duration

FACTS = ("serial", "firmware", "boots", "uptime")
"""What a node can tell about itself: who it is, how often it has booted, and how long ago."""


class Format(Enum):
    """The formats of payloads, each with its number as a Content-Format (RFC 7252 §12.3)."""

    TEXT = "text"
    JSON = "json"
    CBOR = "cbor"
    SENML_JSON = "senml+json"
    SENML_CBOR = "senml+cbor"

    @property
    def number(self) -> int:
        """Return the Content-Format number, that of RFC 8428 §12.3 for SenML."""
        return _NUMBERS[self]

    @property
    def is_senml(self) -> bool:
        return self in (Format.SENML_JSON, Format.SENML_CBOR)


_NUMBERS = {
    Format.TEXT: 0,
    Format.JSON: 50,
    Format.CBOR: 60,
    Format.SENML_JSON: 110,
    Format.SENML_CBOR: 112,
}

NAMES_OF_FORMATS: Mapping[int, str] = {
    0: "text/plain",
    40: "application/link-format",
    41: "application/xml",
    42: "application/octet-stream",
    47: "application/exi",
    50: "application/json",
    60: "application/cbor",
    110: "application/senml+json",
    112: "application/senml+cbor",
}
"""Content-Formats by number: RFC 7252 §12.3, RFC 7049 §7.4 (CBOR), RFC 8428 §12.3 (SenML)."""


class Written(Enum):
    """How a label stands in a payload.

    WORD     as the label itself
    NUMBER   as its raw number
    BOOLEAN  as true or false: the labels of raw 1 and raw 0
    """

    WORD = "word"
    NUMBER = "number"
    BOOLEAN = "boolean"


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One value in a payload.

    `pointer` leads through objects and lists of JSON and CBOR, one step each; `record` is the name
    of a SenML record, in full or without its base name.  `suffix` is the word behind a number in a
    text.  `units` are the SenML units the record may have; empty where any will do.  `binary32`
    says that fractions are IEEE 754 binary32, so that 20.3 is 20.299999237...
    """

    pointer: tuple[str, ...] = ()
    record: str = ""
    suffix: str = ""
    units: tuple[str, ...] = ()
    written: Written = Written.WORD
    binary32: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A path with its query, both as their single parts, decoded."""

    path: tuple[str, ...]
    query: tuple[str, ...] = ()

    def __str__(self) -> str:
        return "/" + "/".join(self.path) + ("?" + "&".join(self.query) if self.query else "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Resource:
    """One thing that is read.

    `signals` are its parts by the names of the node's signals, `facts` by those of FACTS.
    """

    place: Place
    format: Format
    observe: bool = False
    poll: Duration | None = None
    signals: Mapping[str, Part] = field(default_factory=dict)
    facts: Mapping[str, Part] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """Where one signal is driven, and how its value is written."""

    place: Place
    format: Format
    part: Part


@dataclass(frozen=True, slots=True, kw_only=True)
class Coap:
    """All of it for one node.

    `renew` is how often observations are registered anew and what is neither observed nor polled is
    read; `tick` is one count of the uptime.  `accept` says whether requests name the format they
    want.  `ack_timeout` and `retransmissions` are ACK_TIMEOUT and MAX_RETRANSMIT of RFC 7252 §4.8.
    """

    resources: tuple[Resource, ...]
    targets: Mapping[str, Target] = field(default_factory=dict)
    confirmable: bool = True
    accept: bool = True
    renew: Duration = Duration(5 * SECOND)
    tick: Duration = SECOND
    ack_timeout: Duration = Duration(2000 * MILLISECOND)
    retransmissions: int = 4
