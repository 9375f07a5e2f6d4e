"""A rack of two nodes that announce themselves, for tests of scans and identities."""

from dataclasses import replace
from decimal import Decimal

from wire.racks import REQUEST, crc, number, reading, sensor, signal_field

from hil.core.instant import MILLISECOND, Duration, Instant
from hil.wire.announce import Discovery, nobodys
from hil.wire.layout import Codec
from hil.wire.rack import Address, Carries, Field, Identity, Layout, Node, Rack, Role

GROUP = Address("239.255.20.20", 47900)
SERVO_AT = Address("192.0.2.17", 47801)
FAN_AT = Address("192.0.2.18", 47801)


def text(name: str, size: int) -> Field:
    return Field(name=name, form="text", size=size)


ANNOUNCE = Layout(
    name="announce",
    role=Role.ANNOUNCE,
    fields=(
        number("kind", "u8", Carries.CONSTANT, constant=0x52),
        number("node", "u8", Carries.NODE),
        number("boots", "u16", Carries.BOOTS),
        text("serial", 8),
        text("firmware", 6),
        text("type", 6),
        crc(),
    ),
)
ASK = Layout(
    name="ask",
    role=Role.ASK,
    fields=(number("kind", "u8", Carries.CONSTANT, constant=0x51), crc()),
)
READING = reading(text("serial", 8), text("firmware", 6), signal_field("t", "i16"), boots=True)
DISCOVERY = Discovery(
    group=GROUP, announce=ANNOUNCE, ask=ASK, rounds=3, every=Duration(100 * MILLISECOND)
)


def node(name: str, numbered: int, at: Address, serial: str, **more: object) -> Node:
    """Return a node with a reading that tells who it is."""
    made = replace(
        sensor(READING, node=numbered),
        name=name,
        address=at,
        layouts=(REQUEST, READING),
        identity=Identity(serial=serial, firmware=">= 1.9"),
        read=1,
    )
    signals = tuple(replace(signal, node=name) for signal in made.signals)
    return replace(made, signals=signals, **more)  # type: ignore[arg-type]


SERVO = node("servo", 0x11, SERVO_AT, "S-0042")
FAN = node("fan", 0x12, FAN_AT, "S-0007")


def rack(*nodes: Node, discovery: Discovery | None = DISCOVERY, host: str = "192.0.2.1") -> Rack:
    return Rack(
        name="paper",
        file="paper.yaml",
        digest="",
        interface="eth1",
        host=host,
        late_bound=Duration(50 * MILLISECOND),
        nodes=nodes or (SERVO, FAN),
        software=None,
        discovery=discovery,
    )


def announce(
    numbered: int, serial: str, firmware: str = "1.9", boots: int = 1, kind: str = ""
) -> bytes:
    values = {"serial": serial, "firmware": firmware, "type": kind}
    return nobodys(ANNOUNCE).encode(values, node=numbered, boots=boots)


def told(of: Node, serial: str = "", *, sequence: int = 0, **more: object) -> bytes:
    """Return a reading; of the declared board unless another serial is given."""
    values = {
        "t": Decimal(1),
        "serial": serial or of.identity.serial,
        "firmware": more.pop("firmware", "1.9"),
    }
    boots = more.pop("boots", 1)
    return Codec(READING, of).encode(values, sequence=sequence, boots=boots, **more)  # type: ignore[arg-type]


def ms(count: float) -> Instant:
    return Instant(int(count * MILLISECOND))
