"""What a scan saw: one entry for each node that spoke, however often and by whatever way.

Two datagrams are of one node when they came from one address with one number and one serial
number; what one of them does not tell, another may.  An announce that left by another port than
the one the node is asked at is the same node's where host, number and serial number agree.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

from hil.wire.rack import Address


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What one datagram tells; empty or None what it does not.

    `turn` is the round whose question it answers, where it says so.
    """

    way: str
    number: int | None = None
    serial: str = ""
    firmware: str = ""
    boots: int | None = None
    uptime: int | None = None
    more: tuple[tuple[str, str], ...] = ()
    resources: tuple[str, ...] = ()
    turn: int | None = None


@dataclass(slots=True, kw_only=True)
class Sighting:
    """One node as a scan saw it.

    `rounds` are those in which it spoke, `lives` its boot counts in the order in which they were
    told, and `restarts` what was seen of reboots, in words.
    """

    address: Address
    number: int | None = None
    serial: str = ""
    firmware: str = ""
    rounds: set[int] = field(default_factory=set)
    ways: dict[str, None] = field(default_factory=dict)
    boots: int | None = None
    uptime: int | None = None
    restarts: list[str] = field(default_factory=list)
    more: dict[str, str] = field(default_factory=dict)
    resources: tuple[str, ...] = ()

    def __str__(self) -> str:
        parts = [f"serial {self.serial}"] if self.serial else []
        parts += [f"{name} {text}" for name, text in self.more.items()]
        return f"{', '.join(parts) or 'without serial'} at {self.address}"

    def fits(self, told: Told) -> bool:
        """Say whether what was told does not contradict what is known."""
        return _agree(self.number, told.number) and _agree(self.serial, told.serial)

    def take(self, told: Told, turn: int) -> None:
        """Add what one datagram of round `turn` tells."""
        self._follow(told, turn)
        self.rounds.add(turn)
        self.ways[told.way] = None
        self.number = told.number if self.number is None else self.number
        self.serial = self.serial or told.serial
        self.firmware = told.firmware or self.firmware
        self.more |= dict(told.more)
        self.resources = told.resources or self.resources

    def absorb(self, other: "Sighting") -> None:
        """Take over what was seen of the same node at another port."""
        self.rounds |= other.rounds
        self.ways |= other.ways
        self.firmware = self.firmware or other.firmware
        self.restarts += [text for text in other.restarts if text not in self.restarts]
        self.more |= other.more

    def _follow(self, told: Told, turn: int) -> None:
        """Notice a reboot: another boot count, or an uptime that is less than it was."""
        if told.boots is not None:
            if self.boots is not None and told.boots > self.boots:
                what = f"boot count {told.boots}, was {self.boots}"
                self.restarts.append(f"rebooted by round {turn + 1}: {what}")
            self.boots = told.boots if self.boots is None else max(told.boots, self.boots)
        elif told.uptime is not None:
            if self.uptime is not None and told.uptime < self.uptime:
                self.restarts.append(f"rebooted by round {turn + 1}: it is up for less than before")
            self.uptime = told.uptime


class Sightings:
    """All that was seen, in the order in which it was seen first."""

    def __init__(self) -> None:
        self._found: list[Sighting] = []

    def take(self, source: Address, told: Told, turn: int) -> Sighting:
        """Add what one datagram from an address tells."""
        here = [each for each in self._found if each.address == source and each.fits(told)]
        exact = [each for each in here if each.serial == told.serial]
        found = next(iter(exact or here), None)
        if found is None:
            found = Sighting(address=source)
            self._found.append(found)
        found.take(told, turn)
        return found

    def merged(self, homes: Iterable[Address]) -> list[Sighting]:
        """Return them, what was announced from another port with the node's own."""
        declared = set(homes)
        kept: list[Sighting] = []
        for each in self._found:
            same = [
                other
                for other in self._found
                if other is not each
                and other.address.host == each.address.host
                and other.number == each.number
                and other.serial == each.serial != ""
                and "announced" not in other.ways
            ]
            only_announced = list(each.ways) == ["announced"] and each.address not in declared
            if only_announced and same:
                same[0].absorb(each)
            else:
                kept.append(each)
        return kept


def _agree(known: object, told: object) -> bool:
    return known in (None, "") or told in (None, "") or known == told
