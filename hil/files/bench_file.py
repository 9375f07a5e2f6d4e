"""Reading a bench file into a `Rack`: checks, layouts, nodes, examples, the software model."""

from dataclasses import replace
from pathlib import Path

from hil.core.instant import MILLISECOND, Duration
from hil.files.bench_shape import BENCH, CHECKS, LAYOUTS, NODES
from hil.files.bus_file import read_bus
from hil.files.check_file import read_check
from hil.files.command_file import read_commands
from hil.files.depends_file import read_depends
from hil.files.discovery_file import read_discovery
from hil.files.example_file import read_example, verify_examples
from hil.files.form import check_form
from hil.files.layout_file import LayoutText, read_layout
from hil.files.leaf import DURATION, HOST, NAME, TITLE
from hil.files.mistake import Page
from hil.files.node_file import NodeText, build_node, read_node
from hil.files.operator_file import read_operator
from hil.files.relay_file import read_relay
from hil.files.software_file import check_software, read_software
from hil.files.tree import Node
from hil.files.zone_text import fill_zone
from hil.wire.announce import Discovery
from hil.wire.rack import Address, Crc, Layout, Rack

_LATE_BOUND = Duration(50 * MILLISECOND)
_ABOUT_NODES = ("bus", "relay", "depends", "commands", "operator")
"""What can be understood only once the nodes are; until then its form is checked."""


def read_bench(root: Node, page: Page) -> Rack | None:
    """Return the rack; None, with every mistake noted, where the file is wrong."""
    keys = BENCH.open(root, page)
    if keys is None:
        return None
    name = TITLE.at(keys, "bench", page)
    interface = NAME.at(keys, "interface", page)
    host = HOST.at(keys, "host", page)
    if host is not None:
        host = fill_zone(keys["host"], "host", host, interface, page)
    late: Duration | None = _LATE_BOUND
    if "host-late" in keys:
        late = DURATION.read(keys["host-late"], page, "host-late")
        if late == 0:
            page.wrong(keys["host-late"], "host-late: expected more than 0 s")
    checks = _read_checks(keys, page)
    texts = _read_layouts(keys, checks, page)
    nodes = _read_nodes(keys, texts, interface, page)
    layouts = _read_examples(texts, nodes, page)
    software = read_software(keys["software"], page) if "software" in keys else None
    discovery: Discovery | None = None
    if "discovery" in keys:
        found = {each: layouts.get(each) for each in texts}
        discovery = read_discovery(keys["discovery"], found, interface, page)
    if page.mistakes or name is None or interface is None or host is None or late is None:
        for key in _ABOUT_NODES:
            if key in keys:
                check_form(BENCH.keys[key].shape, keys[key], page, key)
        return None
    built = tuple(build_node(node, layouts) for node in nodes)
    bus = read_bus(keys["bus"], built, page) if "bus" in keys else None
    relay = read_relay(keys["relay"], built, page) if "relay" in keys else None
    signals = {signal.path: signal for node in built for signal in node.signals}
    depends = read_depends(keys["depends"], signals, page) if "depends" in keys else {}
    rack = Rack(
        name=name,
        file=page.file,
        digest=page.digest(),
        interface=interface,
        host=host,
        late_bound=late,
        nodes=built,
        software=software,
        bus=bus,
        relay=relay,
        depends=depends,
        discovery=discovery,
    )
    check_software(rack, root, page)
    if "commands" in keys:
        rack = replace(rack, programs=read_commands(keys["commands"], rack, page))
    if "alarms" in keys:
        beside = TITLE.read(keys["alarms"], page, "alarms") or ""
        rack = replace(rack, alarms=str(Path(page.file).parent / beside))
    if "operator" in keys:
        rack = replace(rack, stand_in=read_operator(keys["operator"], rack, page))
    return rack


def _read_checks(keys: dict[str, Node], page: Page) -> dict[str, Crc | None]:
    entries = CHECKS.open(keys["checks"], page) if "checks" in keys else []
    return {name: read_check(node, page) for _, name, node in entries}


def _read_layouts(
    keys: dict[str, Node], checks: dict[str, Crc | None], page: Page
) -> dict[str, LayoutText | None]:
    entries = LAYOUTS.open(keys["layouts"], page) if "layouts" in keys else []
    return {name: read_layout(name, node, checks, page) for _, name, node in entries}


def _read_nodes(
    keys: dict[str, Node],
    layouts: dict[str, LayoutText | None],
    interface: str | None,
    page: Page,
) -> list[NodeText]:
    entries = NODES.open(keys["nodes"], page) if "nodes" in keys else []
    read = [read_node(name, place, layouts, interface, page) for _, name, place in entries]
    nodes = [node for node in read if node is not None]
    numbers: dict[int, str] = {}
    addresses: dict[Address, str] = {}
    for node in nodes:
        if node.number is not None:
            owner = numbers.setdefault(node.number, node.name)
            if owner != node.name:
                what = f"{node.name} has the number {node.number}, which is that of {owner}"
                page.wrong(node.keys["number"], what, "give each node a number of its own")
        if node.address is not None:
            owner = addresses.setdefault(node.address, node.name)
            if owner != node.name:
                what = f"{node.name} has the address {node.address}, which is that of {owner}"
                page.wrong(node.keys["address"], what, "give each node an address of its own")
        console = None if node.console is None else node.console.console
        if console is not None:
            owner = addresses.setdefault(console.address, node.name)
            if owner != node.name:
                what = f"{node.name} has the console {console.address}, which is that of {owner}"
                page.wrong(node.keys["console"], what, "give each node a console of its own")
    return nodes


def _read_examples(
    texts: dict[str, LayoutText | None], nodes: list[NodeText], page: Page
) -> dict[str, Layout]:
    """Complete the layouts with their worked examples, and hold the bytes to the values."""
    layouts = {}
    for name, text in texts.items():
        if text is None:
            continue
        users = [node for node in nodes if name in node.used]
        before = page.count
        read = [read_example(entry, text.layout, users, page) for entry in text.examples]
        examples = tuple(example for example in read if example is not None)
        layout = replace(text.layout, examples=examples)
        layouts[name] = layout
        unknown = not users and any(node.vague for node in nodes)
        if page.count == before and not unknown:
            verify_examples(layout, text, users, page)
    return layouts
