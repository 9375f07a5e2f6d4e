"""What a scan saw, against what the bench file says.

missing         nobody with that serial, number or address spoke
moved           the node is at another address
other serial    another board is at the node's address
other number    the board says it is another node
two nodes       two boards have one number
two addresses   one board speaks from two
firmware        it is not what is required
rebooted        it restarted during the scan
unknown         it is in no entry of the bench file
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from hil.core.count import counted
from hil.wire.identity import declared, identity_problem
from hil.wire.rack import Node, Rack
from hil.wire.sighting import Sighting


@dataclass(frozen=True, slots=True)
class Finding:
    """One difference: of which kind, about which node (empty for a stranger), and in words."""

    kind: str
    node: str
    text: str


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of what was found: a node of the bench file, a sighting, or both."""

    node: Node | None
    sighting: Sighting | None


class Comparison:
    """All entries and all differences; the rack is as declared when there are none."""

    def __init__(self, rack: Rack, sightings: Sequence[Sighting], rounds: int) -> None:
        self._nodes = [node for node in rack.nodes if node.address.port]
        self._seen, self._rounds = list(sightings), rounds
        self.unasked = [node.name for node in rack.nodes if not node.address.port]
        self.entries: list[Entry] = []
        self.findings: list[Finding] = []
        taken: list[Sighting] = []
        for node in self._nodes:
            own = self._of(node)
            taken += own
            self.entries += [Entry(node, each) for each in own] or [Entry(node, None)]
            self.findings += self._differences(node, own)
        strangers = [each for each in self._seen if not any(each is known for known in taken)]
        self.entries += [Entry(None, each) for each in strangers]
        self.findings += self._shared_numbers()
        self.findings += [Finding("unknown", "", _stranger(each)) for each in strangers]
        self.untold = [text for node in self._nodes for text in self._untold(node)]

    def _of(self, node: Node) -> list[Sighting]:
        """Return what was seen of a node: by serial number, by address, by number."""
        wanted, at, numbers = node.identity.serial, [], []
        serials = [each for each in self._seen if wanted and each.serial == wanted]
        for each in self._seen:
            if any(each is known for known in serials):
                continue
            if self._is_at_home(node, each):
                at.append(each)
            elif wanted and each.serial:
                continue  # another board, wherever it is and whatever its number
            elif each.number == node.number and not self._belongs_elsewhere(node, each):
                numbers.append(each)
        return [*serials, *at, *numbers]

    def _is_at_home(self, node: Node, seen: Sighting) -> bool:
        """Say whether it is at the node's address; the host is enough where no other has it."""
        if seen.address == node.address:
            return True
        alone = [each for each in self._nodes if each.address.host == node.address.host] == [node]
        return alone and seen.address.host == node.address.host and node.coap is None

    def _belongs_elsewhere(self, node: Node, seen: Sighting) -> bool:
        others = [each for each in self._nodes if each is not node]
        return any(
            each.address == seen.address or (seen.serial and each.identity.serial == seen.serial)
            for each in others
        )

    def _differences(self, node: Node, own: list[Sighting]) -> Iterator[Finding]:
        name, wanted = node.name, node.identity.serial
        if not own:
            rounds = counted(self._rounds, "round")
            yield Finding("missing", name, f"nothing from {node.address} in {rounds}")
            return
        true = [each for each in own if not wanted or each.serial in ("", wanted)]
        home = [each for each in true if self._is_at_home(node, each)]
        for each in own:
            if wanted and each.serial not in ("", wanted) and self._is_at_home(node, each):
                what = f"serial is {each.serial}, wanted {wanted}, at {each.address}"
                yield Finding("other serial", name, what)
        if not true:
            rounds = counted(self._rounds, "round")
            yield Finding("missing", name, f"serial {wanted} was not heard in {rounds}")
        elif not home:
            places = ", ".join(str(each.address) for each in true)
            yield Finding("moved", name, f"it is at {places}, the bench file says {node.address}")
        yield from self._details(node, true)

    def _details(self, node: Node, true: list[Sighting]) -> Iterator[Finding]:
        wanted = node.identity.serial
        hosts = sorted({str(each.address) for each in true if each.serial and wanted})
        if len(hosts) > 1:
            text = f"serial {wanted} speaks from {' and '.join(hosts)}"
            yield Finding("two addresses", node.name, text)
        for each in true:
            if each.number not in (None, node.number):
                what = f"says it is node {each.number}, the bench file says {node.number}"
                yield Finding("other number", node.name, what)
            problem = each.firmware and identity_problem(node, "firmware", each.firmware)
            if problem:
                yield Finding("firmware", node.name, problem)
            for text in each.restarts:
                yield Finding("rebooted", node.name, text)

    def _untold(self, node: Node) -> Iterator[str]:
        """Yield what a node that was seen did not tell, and should."""
        own = [entry.sighting for entry in self.entries if entry.node is node]
        seen = [each for each in own if each is not None]
        for name in declared(node) if seen else ():
            if not any(getattr(each, name) for each in seen):
                yield f"{node.name}: nothing told its {name}, wanted {getattr(node.identity, name)}"

    def _shared_numbers(self) -> Iterator[Finding]:
        """Yield where two boards have one number: by serial, or else by address.

        The board at the declared address is told first, the others by their serial.
        """
        nodes = {node.number: node for node in self._nodes}
        numbers = dict.fromkeys(each.number for each in self._seen if each.number is not None)
        for number in numbers:
            boards: dict[str, Sighting] = {}
            for each in self._seen:
                if each.number == number:
                    boards.setdefault(each.serial or str(each.address), each)
            if len(boards) > 1:
                node = nodes.get(number)
                home = None if node is None else node.address
                order = sorted(boards, key=lambda key: (boards[key].address != home, key))
                told = "; ".join(str(boards[key]) for key in order)
                text = f"{len(boards)} nodes have the number {number}: {told}"
                yield Finding("two nodes", node.name if node else "", text)


def _stranger(seen: Sighting) -> str:
    number = "" if seen.number is None else f", number {seen.number}"
    return f"{seen}{number}: no node of the bench file"
