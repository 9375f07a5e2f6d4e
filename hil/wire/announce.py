"""How nodes are found: the bench file's `discovery`, and the codecs of its two datagrams.

announce   a node says who it is: number, serial, firmware, boots; on its own, or asked
ask        the tool asks everybody who is there; it drives nothing
"""

from dataclasses import dataclass

from hil.core.instant import MILLISECOND, ZERO, Duration
from hil.wire.layout import Codec
from hil.wire.rack import Address, Identity, Layout, Node, Rack

ROUNDS = 3
EVERY = Duration(500 * MILLISECOND)


@dataclass(frozen=True, slots=True, kw_only=True)
class Discovery:
    """How the nodes of a rack can be found besides asking each at its address.

    Announces come to `group` (or to who asked), where `ask` goes to as well; `coap` says that
    the CoAP multicast group is asked too.  A scan has so many `rounds`, one `every` so long.
    """

    group: Address | None = None
    announce: Layout | None = None
    ask: Layout | None = None
    coap: bool = False
    rounds: int = ROUNDS
    every: Duration = EVERY


def listening_time(rack: Rack) -> Duration:
    """Return how long announces are listened to before the first case of a run."""
    found = rack.discovery
    return ZERO if found is None or found.announce is None else found.every


def nobodys(layout: Layout) -> Codec:
    """Return the codec of a layout that belongs to no node."""
    nobody = Node(
        name="",
        number=0,
        address=Address("", 0),
        identity=Identity(),
        signals=(),
        encodings={},
        layouts=(layout,),
        operations={},
        answer_within=ZERO,
    )
    return Codec(layout, nobody)
