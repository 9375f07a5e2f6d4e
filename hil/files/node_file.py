"""One node of a bench file: where it is, who it must be, what it can be asked, its signals."""

from collections.abc import Container, Mapping

from hil.core.instant import Duration
from hil.files.bench_shape import NODE, REQUESTS, SIGNALS, USED_LAYOUTS
from hil.files.coap_file import CoapText
from hil.files.console_file import ConsoleText, check_console, read_console
from hil.files.drive_file import add_drive
from hil.files.grid import all_parts
from hil.files.layout_file import LayoutText
from hil.files.leaf import DURATION, FLAG, NAME, TITLE, VERSION, WHOLE
from hil.files.mistake import Page, listed, nearest, show
from hil.files.signal_file import SignalText, read_signal
from hil.files.tree import Map, Node
from hil.files.zone_text import read_group, read_place
from hil.wire.rack import Address, Carries, Identity, Layout, Role
from hil.wire.rack import Node as RackNode


class NodeText:
    """One node while it is being read: `used` are the names of its layouts.

    `vague` where one of its layouts could not be read: then nobody knows what its signals mean.
    """

    __slots__ = (
        *("address", "answer_within", "any_source", "coap", "console", "identity", "keys"),
        *("name", "number", "place", "readings_to", "requests", "signals", "used", "vague"),
    )

    def __init__(self, name: str, place: Node, keys: dict[str, Node]) -> None:
        self.name = name
        self.place = place
        self.keys = keys
        self.number: int | None = None
        self.address: Address | None = None
        self.answer_within: Duration | None = None
        self.any_source = False
        self.identity = Identity()
        self.requests: dict[str, int | None] = {}
        self.used: list[str] = []
        self.vague = False
        self.signals: dict[str, SignalText] = {}
        self.readings_to: Address | None = None
        self.console: ConsoleText | None = None
        self.coap: CoapText | None = None

    @property
    def spoken(self) -> ConsoleText | None:
        """Return the console that is the only way to the node, where it is."""
        return None if "address" in self.keys else self.console


def read_node(
    name: str,
    place: Node,
    layouts: Mapping[str, LayoutText | None],
    interface: str | None,
    page: Page,
) -> NodeText | None:
    """Return one node with its signals; None where it is no mapping."""
    keys = NODE.open(place, page)
    if keys is None:
        return None
    node = NodeText(name, place, keys)
    _read_identity(node, interface, page)
    _read_requests(node, page)
    _read_used(node, layouts, page)
    if "console" in keys:
        only_way = "address" not in keys
        node.console = read_console(keys["console"], page, only_way=only_way)
    if "coap" in keys:
        node.coap = CoapText(keys["coap"], page)
    _read_signals(node, layouts, page)
    _check_operations(node, page)
    _check_talk(node, layouts, page)
    return node


def _read_identity(node: NodeText, interface: str | None, page: Page) -> None:
    keys = node.keys
    if "number" in keys:
        node.number = WHOLE.read(keys["number"], page, "number")
        if node.number is not None and node.number < 0:
            page.wrong(keys["number"], "number: expected 0 or more")
    if "address" in keys:
        node.address = read_place(keys["address"], "address", interface, page)
    if "readings-to" in keys:
        node.readings_to = read_group(keys["readings-to"], "readings-to", interface, page)
    if "answer-within" in keys:
        node.answer_within = DURATION.read(keys["answer-within"], page, "answer-within")
        if node.answer_within == 0:
            page.wrong(keys["answer-within"], "answer-within: expected more than 0 s")
    if "any-source" in keys:
        node.any_source = FLAG.read(keys["any-source"], page, "any-source") or False
    serial = TITLE.read(keys["serial"], page, "serial") if "serial" in keys else ""
    firmware = VERSION.read(keys["firmware"], page, "firmware") if "firmware" in keys else ""
    node.identity = Identity(serial=serial or "", firmware=firmware or "")


def _read_requests(node: NodeText, page: Page) -> None:
    if "requests" not in node.keys:
        return
    keys = REQUESTS.open(node.keys["requests"], page) or {}
    for key in ("read", "listen"):
        if key in keys:
            node.requests[key] = WHOLE.read(keys[key], page, key)
    if "listen" in keys and "readings-to" in node.keys:
        what = (
            "`listen` and `readings-to`: a node tells its readings either to askers or to a group"
        )
        page.wrong(keys["listen"], what)
    for key in ("poll", "renew"):
        if key in keys:
            length = DURATION.read(keys[key], page, key)
            if length == 0:
                page.wrong(keys[key], f"{key}: expected more than 0 s")
            node.requests[key] = length


def _read_used(node: NodeText, layouts: Mapping[str, LayoutText | None], page: Page) -> None:
    if "layouts" not in node.keys:
        return
    for entry in USED_LAYOUTS.open(node.keys["layouts"], page):
        name = NAME.read(entry, page, "layouts")
        if name is None or layouts.get(name) is None:
            node.vague = True
        if name is None:
            continue
        if name not in layouts:
            what = f"there is no layout {show(name)} under `layouts`"
            page.wrong(entry, what, nearest(name, layouts))
        elif name in node.used:
            page.wrong(entry, f"the layout {show(name)} stands here twice")
        elif _is_for_all(layouts[name]):
            page.wrong(entry, f"the layout {show(name)} belongs under `discovery`")
        else:
            node.used.append(name)


def _is_for_all(text: LayoutText | None) -> bool:
    return text is not None and text.layout.role in (Role.ANNOUNCE, Role.ASK)


def _read_signals(node: NodeText, layouts: Mapping[str, LayoutText | None], page: Page) -> None:
    texts = [layouts[name] for name in node.used]
    used = tuple(text.layout for text in texts if text is not None)
    if "signals" not in node.keys or node.vague:
        return
    entries = node.keys["signals"]
    poll, spoken = node.requests.get("poll"), node.spoken
    poll = spoken.poll if spoken is not None else poll
    length = None if poll is None else Duration(poll)
    for _, name, place in SIGNALS.open(entries, page):
        said = spoken is not None and spoken.carries(name)
        if node.coap is not None:
            said, length = node.coap.take(name, place)
        elif type(place) is Map and "coap" in place.pairs:
            page.wrong(
                place.pairs["coap"][0], f"`coap` goes only with `coap` of {node.name} itself"
            )
        signal = read_signal(node.name, name, place, used, length, page, said=said)
        if signal is not None:
            node.signals[name] = signal
    declared = set(entries.pairs) if isinstance(entries, Map) else set()
    for signal in node.signals.values():
        add_drive(signal, node.signals, declared, used, page, _worded(node, declared))
    if node.coap is not None:
        node.coap.share(node.signals, node.keys)
    if spoken is not None:
        read = {name: text.signal for name, text in node.signals.items()}
        check_console(spoken, node.name, read, declared, page)
    for layout in used:
        for part in all_parts(layout.fields):
            if part.carries is Carries.SIGNAL and part.name not in declared:
                what = f"the layout {show(layout.name)} carries {show(part.name)}"
                hint = nearest(part.name, declared)
                page.wrong(entries, f"{what}, which {node.name} does not have", hint)


def _worded(node: NodeText, declared: set[str]) -> Container[str] | None:
    """Return what is driven without a layout; None where the node has layouts.

    A command of no signal may be meant for any of them.
    """
    spoken = node.spoken
    if node.coap is not None or spoken is None:
        return None if node.coap is None else declared
    return declared if set(spoken.commands) - declared else spoken.commands


def _check_operations(node: NodeText, page: Page) -> None:
    taken: dict[int, str] = {}
    numbers = [(node.requests.get(key), f"`{key}`") for key in ("read", "listen")]
    numbers += [(signal.operation, show(name)) for name, signal in node.signals.items()]
    for number, who in numbers:
        if number is None:
            continue
        if number in taken:
            what = f"{node.name}: the operation {number} is that of {taken[number]} and of {who}"
            page.wrong(node.place, what, "give each an operation of its own")
        taken[number] = who


def _check_talk(node: NodeText, layouts: Mapping[str, LayoutText | None], page: Page) -> None:
    """Refuse a node of datagrams whose readings would never come, or whose answers could not."""
    texts = [layouts[name] for name in node.used]
    roles = {text.layout.role for text in texts if text is not None}
    if "layouts" not in node.keys or node.vague:
        return
    asked = not {"poll", "listen"}.isdisjoint(node.requests) or "readings-to" in node.keys
    if Role.READING in roles and not asked:
        what = f"{node.name} is never asked for its readings, and tells them to nobody"
        page.wrong(node.place, what, "requests: {read: 1, poll: 50 ms} or {listen: 2, renew: 2 s}")
    driven = [name for name, signal in node.signals.items() if signal.operation is not None]
    if driven and Role.ANSWER not in roles:
        what = f"layouts: {node.name} drives {listed(driven[:3], 'and')}, and none is an answer"
        hint = "the layout with `role: answer`: a command that nobody confirms proves nothing"
        page.wrong(node.keys["layouts"], what, hint)


def build_node(node: NodeText, layouts: Mapping[str, Layout]) -> RackNode:
    """Put one node together; called only where the file has no mistake."""
    assert node.number is not None
    console = None if node.console is None else node.console.console
    address = node.address if console is None else node.address or console.address
    assert address is not None
    assert node.answer_within is not None
    poll, renew = node.requests.get("poll"), node.requests.get("renew")
    return RackNode(
        name=node.name,
        number=node.number,
        address=address,
        identity=node.identity,
        signals=tuple(text.signal for text in node.signals.values()),
        encodings={name: text.encoding for name, text in node.signals.items()},
        layouts=tuple(layouts[name] for name in node.used),
        operations={
            name: text.operation
            for name, text in node.signals.items()
            if text.operation is not None
        },
        answer_within=node.answer_within,
        read=node.requests.get("read"),
        poll=None if poll is None else Duration(poll),
        listen=node.requests.get("listen"),
        renew=None if renew is None else Duration(renew),
        readings_to=node.readings_to,
        any_source=node.any_source,
        console=console,
        coap=None if node.coap is None else node.coap.build(),
    )
