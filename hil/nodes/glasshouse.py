"""The software rack: which model stands in for which node, and all of them as one machine.

`SoftwareRack` routes nothing.  It hands an envelope to the node it is addressed to and hands out
what the nodes send, to the tool or to each other; whoever holds the rack carries it.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from hil.core.instant import Instant
from hil.nodes import alarm_gauge
from hil.nodes.alarm_gauge import AlarmGauge
from hil.nodes.announcing import Announcing
from hil.nodes.circulator import Circulator
from hil.nodes.cistern import Cistern
from hil.nodes.coap_node import CoapNode
from hil.nodes.console import Console
from hil.nodes.console_node import ConsoleNode
from hil.nodes.doser import RULES as DOSER
from hil.nodes.doser import Doser
from hil.nodes.feedline import Feedline
from hil.nodes.head_unit import HeadUnit
from hil.nodes.indicator import Beacon, Tile
from hil.nodes.lamps import Lamps
from hil.nodes.line_program import misfits as console_misfits
from hil.nodes.logging_node import LoggingNode
from hil.nodes.louvres import Louvres
from hil.nodes.mast import Mast
from hil.nodes.misfit import Misfit, MisfitError
from hil.nodes.model import Model, Surroundings
from hil.nodes.node import SoftwareNode
from hil.nodes.noise import Noise
from hil.nodes.participant import Participant
from hil.nodes.pendant import Pendant
from hil.nodes.propagator import MODELS as PROPAGATOR_MODELS
from hil.nodes.propagator import RULES as PROPAGATOR
from hil.nodes.settings import GLASSHOUSE, Rules, Settings
from hil.wire.encoding import WireError
from hil.wire.layout import Codec
from hil.wire.rack import Envelope, Node, Rack, Software

MODELS: Mapping[str, type[Model]] = {
    "feedline": Feedline,
    "cistern": Cistern,
    "mast": Mast,
    "louvres": Louvres,
    "circulator": Circulator,
    "lamps": Lamps,
    "beacon": Beacon,
    "tile": Tile,
    "pendant": Pendant,
    "console": Console,
}
"""The models of the glasshouse, by the name of their node."""

POWER = ("run", "restart")


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """A family of models: which there are, by the name of their node, and their settings.

    `misfits` names what is wrong with the words among the settings.
    """

    models: Mapping[str, type[Model]]
    rules: Rules
    misfits: Callable[[Mapping[str, str]], Iterable[Misfit]]


FAMILIES: Mapping[str, Family] = {
    "glasshouse": Family(models=MODELS, rules=GLASSHOUSE, misfits=lambda settings: ()),
    "alarm-gauge": Family(
        models={"gauge": AlarmGauge},
        rules=Rules(
            defaults=alarm_gauge.DEFAULTS,
            positive=alarm_gauge.POSITIVE,
            contradictions=alarm_gauge.ORDERED,
        ),
        misfits=alarm_gauge.misfits,
    ),
    "propagator": Family(models=PROPAGATOR_MODELS, rules=PROPAGATOR, misfits=lambda settings: ()),
    "doser": Family(models={"doser": Doser}, rules=DOSER, misfits=lambda settings: ()),
}
"""What a bench file can name as `software: model`."""

_NEVER = Instant(1 << 63)


class SoftwareRack:
    """All software nodes of a rack, as one machine.

    Raises MisfitError where the bench file has no software model, an unknown one, a node or
    signal that the model does not know, or a wrong setting.
    """

    def __init__(self, rack: Rack, start: Instant) -> None:
        software = rack.software
        if software is None:
            what = "the bench file has no `software` to stand in for it"
            raise MisfitError(rack.file, [Misfit(what=what, place=())])
        family = _family(software.model, rack.file)
        settings = _settings(rack, software, family)
        codecs = {
            node.name: [Codec(layout, node) for layout in node.layouts] for node in rack.nodes
        }
        self.nodes = {
            node.address: _make(
                node, family, codecs, rack, settings, Noise(software.seed, node.name), start
            )
            for node in rack.nodes
        }
        self._order = list(self.nodes.values())
        _rehearse(self._order, rack)
        self._places = {address: place for place, address in enumerate(self.nodes)}
        for place, node in enumerate(self._order):
            if node.node.console is not None:
                self._places[node.node.console.address] = place
        self._planned = [_NEVER] * len(self._order)
        self._next = _NEVER
        self._sends: list[Envelope] = []
        self._announcing: Announcing | None = None
        if rack.discovery is not None and rack.discovery.announce is not None:
            speaking = {p: n for p, n in enumerate(self._order) if isinstance(n, SoftwareNode)}
            self._announcing = Announcing(rack.discovery, speaking, software.seed)
        for place in range(len(self._order)):
            self._settle(place, start)

    def receive(self, thing: Envelope, now: Instant) -> None:
        """Hand an envelope to the node it is addressed to; there may be none."""
        if self._announcing is not None and self._announcing.receive(thing, now):
            self._plan()
            return
        place = self._places.get(thing.destination)
        if place is not None:
            self._order[place].receive(thing, now)
            self._settle(place, now)

    def tick(self, now: Instant) -> None:
        """Let every node do what is due, in the order of the bench file."""
        planned = self._planned
        if self._announcing is not None:
            self._announcing.tick(now)
            self._plan()
        for _ in planned:
            if self._next > now:
                return
            place = planned.index(self._next)
            self._order[place].tick(now)
            self._settle(place, now)

    def next_wakeup(self) -> Instant | None:
        """Return when the first node has something to do."""
        return self._next if self._next != _NEVER else None

    def take_sends(self) -> tuple[Envelope, ...]:
        """Hand over what the nodes want sent, in the order in which they sent it."""
        if not self._sends:
            return ()
        sends = tuple(self._sends)
        self._sends.clear()
        return sends

    @property
    def settled(self) -> bool:
        """Whether every node knows what it must know of the others to work as it should."""
        return all(node.settled for node in self._order)

    def _plan(self) -> None:
        """Note when something is due next, and collect the announces."""
        self._next = min(self._planned)
        if self._announcing is not None:
            self._sends += self._announcing.outbox
            self._announcing.outbox.clear()
            due = self._announcing.next_wakeup()
            self._next = self._next if due is None else min(self._next, due)

    def _settle(self, place: int, now: Instant) -> None:
        """Collect what a node sends and note when it wants to be woken.

        A rack has some dozen nodes: looking at all of their instants is faster than a heap.
        """
        node = self._order[place]
        if node.outbox:
            self._sends += node.outbox
            node.outbox.clear()
        wakeup = node.next_wakeup()
        self._planned[place] = _NEVER if wakeup is None else wakeup
        if self._announcing is not None:
            self._announcing.look(place, now)
        self._plan()


def misfits(rack: Rack) -> tuple[Misfit, ...]:
    """Name everything in a bench file that the software model does not fit."""
    try:
        SoftwareRack(rack, Instant(0))
    except MisfitError as error:
        return error.misfits
    return ()


def _family(model: str, file: str) -> Family:
    family = FAMILIES.get(model)
    if family is None:
        what, place = f"software: no model is called {model!r}", ("software", "model")
        raise MisfitError(file, [Misfit(what=what, hint=" or ".join(FAMILIES), place=place)])
    return family


def _settings(rack: Rack, software: Software, family: Family) -> Settings:
    """Read the settings; refuse them together with nodes and signals that do not fit."""
    found = [*family.misfits(software.settings), *_node_misfits(rack, software, family)]
    try:
        settings = Settings(software.settings, rack.file, family.rules)
    except MisfitError as error:
        raise MisfitError(rack.file, [*found, *error.misfits]) from None
    if found:
        raise MisfitError(rack.file, found)
    return settings


def _node_misfits(rack: Rack, software: Software, family: Family) -> Iterator[Misfit]:
    for node in rack.nodes:
        model = family.models.get(node.name)
        if model is None:
            what = f"software: the {software.model} has no node {node.name!r}"
            yield Misfit(what=what, hint=", ".join(family.models), place=("nodes", node.name))
            continue
        yield from _signal_misfits(node, model)
        if node.console is not None and not node.address.port:
            firmware = software.settings.get("firmware", family.rules.defaults["firmware"])
            yield from console_misfits(node, node.console, firmware)


def _signal_misfits(node: Node, model: type[Model]) -> Iterator[Misfit]:
    declared = {signal.name: signal for signal in node.signals}
    own = {"fault": model.faults, "power": POWER}
    place = ("nodes", node.name, "signals")
    for name in model.signals:
        if name not in declared:
            what = f"software: {node.name} has a signal {name}, not declared here"
            yield Misfit(what=what, place=place)
    for name, signal in declared.items():
        if name not in model.signals and name not in own:
            what = f"software: the model of {node.name} has no signal {name!r}"
            yield Misfit(what=what, place=(*place, name))
        for label in signal.labels if name in own else ():
            if label not in own[name]:
                what = f"software: {signal.path} cannot be {label!r}"
                yield Misfit(what=what, hint=", ".join(own[name]), place=(*place, name))


def _rehearse(nodes: Sequence[Participant], rack: Rack) -> None:
    """Refuse what would not fit into a reading, before it is needed."""
    found = []
    for node in nodes:
        try:
            node.rehearse()
        except WireError as error:
            what = f"software: a reading of {node.node.name} cannot be sent: {error}"
            found.append(Misfit(what=what, place=("nodes", node.node.name)))
    if found:
        raise MisfitError(rack.file, found)


def _make(
    node: Node,
    family: Family,
    codecs: Mapping[str, Sequence[Codec]],
    rack: Rack,
    settings: Settings,
    noise: Noise,
    start: Instant,
) -> Participant:
    model = family.models[node.name](Surroundings(node, settings, noise))
    console = node.console
    if console is not None and not node.address.port:
        return ConsoleNode(node, console, model, settings, noise, start)
    made: SoftwareNode | CoapNode
    if node.coap is not None:
        made = CoapNode(node, node.coap, model, settings, noise, start)
    elif isinstance(model, Console):
        others = [other for other in rack.nodes if other is not node]
        made = HeadUnit(node, codecs, model, others, settings, noise, start)
    else:
        made = SoftwareNode(node, codecs[node.name], model, settings, noise, start)
    if console is None:
        return made
    return LoggingNode(made, console, settings.text("firmware"), start)
