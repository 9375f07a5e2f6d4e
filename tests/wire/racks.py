"""A small rack in Python, and layouts R, Q and A: readings, requests, answers.

All numbers big-endian; CRC-16 with polynomial 1021, start FFFF, no reflection, over everything
before it.
"""

from decimal import Decimal

from hil.core.instant import MILLISECOND, SECOND, Duration, Instant
from hil.core.signal import Drive, Kind, Signal
from hil.wire.link import Links
from hil.wire.rack import (
    Address,
    Carries,
    Crc,
    Encoding,
    Field,
    Identity,
    Layout,
    Node,
    Rack,
    Role,
)

CRC_A = Crc(
    width=16,
    polynomial=0x1021,
    start=0xFFFF,
    reflect_in=False,
    reflect_out=False,
    final_xor=0,
    check=0x29B1,
)
FEEDLINE_AT = Address("127.0.0.1", 47801)
LOUVRES_AT = Address("127.0.0.1", 47802)

_SIZES = {"8": 1, "16": 2, "24": 3, "32": 4, "48": 6, "64": 8}


def number(name: str, form: str, carries: Carries = Carries.PLAIN, **more: object) -> Field:
    """Make a number field; `order` is big unless given as little or a permutation."""
    size = _SIZES[form[1:]]
    order = more.pop("order", None)
    if order == "little":
        order = tuple(reversed(range(size)))
    return Field(name=name, form=form, size=size, carries=carries, order=order or (), **more)  # type: ignore[arg-type]


def constant(octet: int) -> Field:
    return number("kind", "u8", Carries.CONSTANT, constant=octet)


def crc(definition: Crc = CRC_A, order: object = None) -> Field:
    return number("check", f"u{definition.width}", Carries.CRC, crc=definition, order=order)


def reading(
    *values: Field, boots: bool = False, tick: Duration = MILLISECOND, append: bool = False
) -> Layout:
    """Return layout R with these values: kind 31, node, sequence, uptime (boots), values, CRC."""
    head = (
        constant(0x31),
        number("node", "u8", Carries.NODE),
        number("sequence", "u16", Carries.SEQUENCE),
        number("uptime", "u32", Carries.UPTIME, tick=tick),
    )
    middle = (number("boots", "u16", Carries.BOOTS),) if boots else ()
    return Layout(
        name="reading",
        role=Role.READING,
        fields=(*head, *middle, *values, crc()),
        append_allowed=append,
    )


def signal_field(name: str, form: str, **more: object) -> Field:
    return number(name, form, Carries.SIGNAL, **more)


REQUEST = Layout(
    name="request",
    role=Role.REQUEST,
    fields=(
        constant(0x21),
        number("node", "u8", Carries.NODE),
        number("request", "u16", Carries.REQUEST),
        number("operation", "u8", Carries.OPERATION),
        number("argument", "i16", Carries.VALUE),
        crc(),
    ),
)
ANSWER = Layout(
    name="answer",
    role=Role.ANSWER,
    fields=(
        constant(0x22),
        number("node", "u8", Carries.NODE),
        number("request", "u16", Carries.REQUEST),
        number("operation", "u8", Carries.OPERATION),
        number("status", "u8", Carries.STATUS, labels={0: "done", 3: "out of range"}),
        number("value", "i16", Carries.VALUE),
        crc(),
    ),
)
TENTHS = Encoding(scale=Decimal("0.1"))


def sensor(
    layout: Layout,
    encoding: Encoding = TENTHS,
    *,
    name: str = "t",
    node: int = 3,
    unit: str = "°C",
    **signal: object,
) -> Node:
    """Return a node that carries one number, by layout R."""
    one = Signal(node="node", name=name, kind=Kind.NUMBER, unit=unit, **signal)  # type: ignore[arg-type]
    return Node(
        name="node",
        number=node,
        address=FEEDLINE_AT,
        identity=Identity(),
        signals=(one,),
        encodings={name: encoding},
        layouts=(layout,),
        operations={},
        answer_within=Duration(50 * MILLISECOND),
    )


FEEDLINE = Node(
    name="feedline",
    number=1,
    address=FEEDLINE_AT,
    identity=Identity(serial="GH-0101", firmware=">= 1.4"),
    signals=(
        Signal(
            node="feedline",
            name="pressure",
            kind=Kind.NUMBER,
            unit="bar",
            low=Decimal(0),
            high=Decimal(10),
            stale_after=Duration(500 * MILLISECOND),
            drive=Drive(safe=Decimal("2.4"), rest=Decimal("2.4"), actuator=False),
        ),
        Signal(node="feedline", name="pump", kind=Kind.LABEL, labels=("off", "on")),
        Signal(
            node="feedline",
            name="temperature",
            kind=Kind.NUMBER,
            unit="°C",
            warmup=SECOND,
        ),
    ),
    encodings={
        "pressure": Encoding(scale=Decimal("0.01"), sentinels=((0x7FFF, 0x7FFF),)),
        "pump": Encoding(labels={0: "off", 1: "on"}),
        "temperature": Encoding(scale=Decimal("0.1"), sentinels=((0x7FF0, 0x7FFF),)),
    },
    layouts=(
        REQUEST,
        ANSWER,
        reading(
            signal_field("pressure", "i16"),
            signal_field("temperature", "i16"),
            Field(
                name="state",
                form="bits",
                size=1,
                parts=((signal_field("pump", "u8"), 0, 1),),
            ),
            Field(name="firmware", form="text", size=3),
            boots=True,
        ),
    ),
    operations={"pressure": 2},
    answer_within=Duration(50 * MILLISECOND),
    read=1,
    listen=9,
    renew=Duration(2 * SECOND),
)
LOUVRES = Node(
    name="louvres",
    number=17,
    address=LOUVRES_AT,
    identity=Identity(),
    signals=(
        Signal(
            node="louvres",
            name="angle",
            kind=Kind.NUMBER,
            unit="deg",
            low=Decimal(-90),
            high=Decimal(90),
            sampling=Duration(50 * MILLISECOND),
            drive=Drive(safe=Decimal(0), rest=Decimal(0)),
        ),
    ),
    encodings={"angle": TENTHS},
    layouts=(REQUEST, ANSWER, reading(signal_field("angle", "i16"))),
    operations={"angle": 2},
    answer_within=Duration(50 * MILLISECOND),
    read=1,
    poll=Duration(50 * MILLISECOND),
)


def rack(*nodes: Node) -> Rack:
    """Return a rack of these nodes; of a listening and a polled one when none are given."""
    return Rack(
        name="small",
        file="small.yaml",
        digest="",
        interface="lo",
        host="127.0.0.1",
        late_bound=Duration(50 * MILLISECOND),
        nodes=nodes or (FEEDLINE, LOUVRES),
        software=None,
    )


def links(*nodes: Node, start: int = 0, first_request: int = 1) -> Links:
    """Return the links of a small rack, from instant `start`."""
    return Links(rack(*nodes), Instant(start), first_request)
