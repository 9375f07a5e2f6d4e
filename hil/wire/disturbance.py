"""What a relay between the tool and the nodes does to datagrams, as the bench file tells it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import Enum

from hil.core.instant import ZERO, Duration
from hil.wire.rack import Address


class Way(Enum):
    """Which way a datagram goes."""

    TO_NODE = "to-node"
    FROM_NODE = "from-node"


@dataclass(frozen=True, slots=True, kw_only=True)
class Disturbance:
    """What is done to datagrams of some nodes (none named: of all) and ways.

    Probabilities are from 0 to 1.  `delay` and up to `jitter` more keep the order; a reordered
    datagram is held back by `held` more, so that later ones overtake it.  `rate` is in bit/s of
    payload.  It is in force from `begin` until `end`, counted from the relay's start.
    """

    nodes: tuple[str, ...] = ()
    ways: tuple[Way, ...] = tuple(Way)
    delay: Duration = ZERO
    jitter: Duration = ZERO
    loss: Decimal = Decimal(0)
    duplicate: Decimal = Decimal(0)
    reorder: Decimal = Decimal(0)
    held: Duration = ZERO
    corrupt: Decimal = Decimal(0)
    truncate: Decimal = Decimal(0)
    rate: int | None = None
    begin: Duration = ZERO
    end: Duration | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RelayScript:
    """The whole script; of several disturbances that fit, the last counts.

    `behind` says where a node really is, where the tool speaks to the relay at its address.
    """

    seed: int
    script: tuple[Disturbance, ...]
    behind: Mapping[str, Address] = field(default_factory=dict)
