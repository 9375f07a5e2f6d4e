"""A small pump with a console, in Python, and links to it."""

import re
from dataclasses import replace
from decimal import Decimal

from wire.racks import FEEDLINE, rack

from hil.core.event import ConsoleLine
from hil.core.instant import MILLISECOND, SECOND, Duration, Instant
from hil.core.observation import Command, CommandAnswered, CommandLost, NodeNote, Purpose, Samples
from hil.core.signal import Drive, Kind, Signal
from hil.wire.console.description import Console, Line, Phrase, Question
from hil.wire.link import Links, Packet
from hil.wire.rack import Encoding, Identity, Node

MS = MILLISECOND
OK, ERR = re.compile(r"ok(?: (?P<value>\S+))?"), re.compile(r"err (?P<why>.+)")

CONSOLE = Console(
    device="/dev/serial/by-id/pump",
    line=Line(rate=115_200),
    readings=(re.compile(r"rate=(?P<rate>\S+) valve=(?P<valve>\S+)"),),
    commands={
        "rate": Phrase(send="rate {value}", accept=OK, refuse=ERR),
        "valve": Phrase(send="valve {value}", accept=OK, refuse=ERR),
    },
)
SIGNALS = (
    Signal(
        node="pump",
        name="rate",
        kind=Kind.NUMBER,
        unit="mL/min",
        low=Decimal(0),
        high=Decimal(60),
        stale_after=Duration(500 * MS),
        drive=Drive(safe=Decimal(0), rest=Decimal(0)),
    ),
    Signal(
        node="pump",
        name="valve",
        kind=Kind.LABEL,
        labels=("closed", "open"),
        warmup=Duration(100 * MS),
        drive=Drive(safe="closed", rest="closed"),
    ),
)
IDENTIFY = Question(
    send="id", answer=re.compile(r"id serial=(?P<serial>\S+) firmware=(?P<firmware>\S+)")
)
BOOT = re.compile(r"boot: ok.*")


def pump(*, serial="", firmware="", name="pump", device="", **console) -> Node:
    """Return the pump's node; what is given belongs to its console."""
    made = replace(CONSOLE, device=device or CONSOLE.device, **console)
    return Node(
        name=name,
        number=1,
        address=made.address,
        identity=Identity(serial=serial, firmware=firmware),
        signals=tuple(replace(signal, node=name) for signal in SIGNALS),
        encodings={
            "rate": Encoding(scale=Decimal("0.1"), sentinels=((9999, 9999),)),
            "valve": Encoding(labels={0: "closed", 1: "open"}),
        },
        layouts=(),
        operations={},
        answer_within=Duration(50 * MS),
        console=made,
    )


def listened(**console) -> Node:
    """Return a node with datagrams whose console is only listened to."""
    made = replace(CONSOLE, readings=(), commands={}, **console)
    return replace(FEEDLINE, console=made)


class Talk:
    """Links to a rack with a pump, and what came of them; instants are milliseconds."""

    def __init__(self, *nodes: Node) -> None:
        self.rack = rack(*(nodes or (pump(),)))
        self.node = self.rack.nodes[0]
        self.links = Links(self.rack, Instant(0))
        self.said: list[str] = []
        self.lines: list[str] = []
        self.written: list[ConsoleLine] = []
        self.seen: list[object] = []
        self.at(0)

    def at(self, ms: float) -> "Talk":
        """Let time reach an instant."""
        now = Instant(int(ms * MS))
        while (wakeup := self.links.next_wakeup()) is not None and wakeup <= now:
            self.links.tick(wakeup)
            self._collect(wakeup)
        self.links.tick(now)
        self._collect(now)
        return self

    def hear(self, ms: float, octets: bytes | str) -> "Talk":
        """Let octets arrive on the console."""
        now = Instant(int(ms * MS))
        self.at(ms - 1e-6)
        payload = octets.encode() if isinstance(octets, str) else octets
        assert self.node.console is not None
        self.links.receive(Packet(self.node.name, self.node.console.address, payload), now)
        self._collect(now)
        return self

    def drive(self, ms: float, signal: str, value: object, token: int = 1) -> "Talk":
        """Command a signal."""
        self.at(ms)
        made = Decimal(value) if isinstance(value, int) else value
        command = Command(token=token, signal=signal, value=made, purpose=Purpose.STIMULUS)
        self.links.execute(command, Instant(int(ms * MS)))
        self._collect(Instant(int(ms * MS)))
        return self

    def _collect(self, now: Instant) -> None:
        self.seen += self.links.take_observations()
        for packet in self.links.take_sends():
            self.said.append(packet.payload.decode("utf-8", "backslashreplace"))
            self.links.sent(packet, now)
        self.seen += self.links.take_observations()
        written = self.links.take_lines()
        self.written += written
        self.lines += [f"{'>' if e.way == 'out' else ''}{e.text}" for e in written]

    def of(self, kind):
        return [one for one in self.seen if isinstance(one, kind)]

    @property
    def values(self):
        """Every value that was read, by signal name."""
        samples = [sample for one in self.of(Samples) for sample in one.samples]
        return [(sample.signal.partition(".")[2], sample.value) for sample in samples]

    @property
    def notes(self):
        return [(note.trouble.value, note.text) for note in self.of(NodeNote)]

    @property
    def lost(self):
        return [(lost.at / MS, lost.detail) for lost in self.of(CommandLost)]

    @property
    def answers(self):
        return [(one.at / MS, one.accepted, one.detail) for one in self.of(CommandAnswered)]


__all__ = ["BOOT", "IDENTIFY", "MS", "SECOND", "Talk", "listened", "pump"]
