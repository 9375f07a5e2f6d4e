"""Reading `console` under a node of a bench file."""

import re
from collections.abc import Collection, Mapping

from hil.core.instant import Duration
from hil.core.signal import Signal
from hil.files.console_shape import (
    COMMAND,
    COMMANDS,
    CONSOLE,
    CONTROL_LINES,
    DEVICE,
    ENDING,
    ENDINGS,
    FRAME,
    IDENTIFY,
    LOCATION,
    PATTERN,
    READ,
    READINGS,
    SAID,
    SPEAKING,
    USB,
)
from hil.files.leaf import DURATION, FLAG, TITLE, WHOLE
from hil.files.mistake import Page, listed, nearest, show
from hil.files.tree import Map, Node
from hil.wire.console.description import (
    DEFAULT_BOOT_WITHIN,
    DEFAULT_LONGEST,
    Console,
    Line,
    Phrase,
    Question,
    Usb,
    group_of,
)
from hil.wire.console.pattern import LONGEST, last_character
from hil.wire.identity import NAMES

_SLOWEST, _FASTEST = 50, 4_000_000
_SHORTEST = 80
_PLACE = re.compile(r"\{[^{}]*\}")


class ConsoleText:
    """A console, read as far as it stands alone; the signals it names are known later.

    `console` is None where it cannot be described.  `carried` are the groups of its readings, each
    with its place.
    """

    __slots__ = ("carried", "commands", "console", "keys", "poll")

    def __init__(self, keys: dict[str, Node]) -> None:
        self.keys = keys
        self.console: Console | None = None
        self.carried: dict[str, Node] = {}
        self.commands: dict[str, tuple[Node, Phrase | None]] = {}
        self.poll: Duration | None = None

    def carries(self, signal: str) -> bool:
        """Return whether a reading on the console carries a signal."""
        return group_of(signal) in self.carried


def read_console(place: Node, page: Page, *, only_way: bool) -> ConsoleText | None:
    """Return a console; None where it is no mapping.

    Where it is not the `only_way` to the node, it can only be listened to.
    """
    keys = CONSOLE.open(place, page)
    if keys is None:
        return None
    found = ConsoleText(keys)
    before = page.count
    device, usb = DEVICE.at(keys, "device", page), _read_usb(keys, page)
    line = _read_line(keys, page)
    prompt = _read_prompt(keys, page)
    identify, read = _read_identify(keys, page), _read_read(keys, page)
    readings = _read_readings(found, page)
    _read_commands(found, page)
    for key in () if only_way else SPEAKING:
        if key in keys:
            what = f"`{key}` goes only with a node that has no `address`: it is driven there"
            page.wrong(keys[key], what)
    longest = _read_longest(keys, page)
    ending = ENDING.at(keys, "line-end", page) or "lf"
    within = DURATION.at(keys, "boot-within", page)
    boot = PATTERN.at(keys, "boot", page)
    resets, echo = FLAG.at(keys, "opening-resets", page), FLAG.at(keys, "echo", page)
    if line is None or (device is None and usb is None) or page.count > before:
        return found
    found.poll = read.every if read is not None else None
    found.console = Console(
        device=device or "",
        usb=usb,
        line=line,
        opening_resets=bool(resets),
        boot=boot,
        boot_within=within or DEFAULT_BOOT_WITHIN,
        prompt=prompt,
        ending=ENDINGS[ending],
        longest=longest,
        echo=echo is not False,
        identify=identify,
        read=read,
        readings=readings,
        commands={name: words for name, (_, words) in found.commands.items() if words},
    )
    return found


def check_console(
    found: ConsoleText,
    node: str,
    signals: Mapping[str, Signal],
    declared: Collection[str],
    page: Page,
) -> None:
    """See that a console names signals that there are, and drives those that are driven.

    `declared` are all signals of the node, also those that could not be read.
    """
    groups = {group_of(name): name for name in declared}
    if len(groups) < len(declared):
        twice = [name for name in declared if groups[group_of(name)] != name]
        what = f"{node}: the signals {listed(twice, 'and')} have one group in patterns with others"
        page.wrong(found.keys.get("readings", next(iter(found.keys.values()))), what)
    for group, place in found.carried.items():
        if group not in groups and group != "boots":
            what = f"{node} has no signal for the group `{group}`"
            page.wrong(place, what, nearest(group, groups))
    for name, (place, _) in found.commands.items():
        if name not in declared:
            page.wrong(place, f"{node} has no signal {show(name)}", nearest(name, declared))
        elif name in signals and signals[name].drive is None:
            what = f"{node}.{name} has no `drive`, so nothing says where it must end"
            page.wrong(place, what)


def _read_usb(keys: dict[str, Node], page: Page) -> Usb | None:
    fields = USB.open(keys["usb"], page) if "usb" in keys else None
    if fields is None:
        return None
    numbers: dict[str, int] = {}
    for key in ("vendor", "product", "interface"):
        number = WHOLE.at(fields, key, page)
        if number is not None:
            numbers[key] = number
            most = 255 if key == "interface" else 0xFFFF
            if not 0 <= number <= most:
                page.wrong(fields[key], f"{key}: expected 0 to {most:#x}")
    serial, location = TITLE.at(fields, "serial", page), LOCATION.at(fields, "location", page)
    if "vendor" not in numbers or "product" not in numbers:
        return None
    return Usb(
        vendor=numbers["vendor"],
        product=numbers["product"],
        serial=serial or "",
        interface=numbers.get("interface"),
        location=location or "",
    )


def _read_line(keys: dict[str, Node], page: Page) -> Line | None:
    rate, frame = WHOLE.at(keys, "rate", page), FRAME.at(keys, "frame", page)
    fields: dict[str, Node] = {}
    if "control-lines" in keys:
        fields = CONTROL_LINES.open(keys["control-lines"], page) or {}
    dtr, rts = FLAG.at(fields, "dtr", page), FLAG.at(fields, "rts", page)
    if rate is None:
        return None
    if not _SLOWEST <= rate <= _FASTEST:
        page.wrong(keys["rate"], f"rate: expected {_SLOWEST} to {_FASTEST} bit/s", "115200")
        return None
    return Line(rate=rate, frame=frame or "8N1", dtr=dtr, rts=rts)


def _read_prompt(keys: dict[str, Node], page: Page) -> re.Pattern[str] | None:
    prompt = PATTERN.at(keys, "prompt", page)
    if prompt is not None and not last_character(prompt.pattern):
        what = f"prompt: the pattern {show(prompt.pattern)} does not end with one known character"
        page.wrong(keys["prompt"], what, "'pump> '")
    return prompt


def _read_longest(keys: dict[str, Node], page: Page) -> int:
    longest = WHOLE.at(keys, "longest-line", page)
    if longest is not None and not _SHORTEST <= longest <= LONGEST:
        page.wrong(keys["longest-line"], f"longest-line: expected {_SHORTEST} to {LONGEST}")
    return DEFAULT_LONGEST if longest is None else longest


def _read_identify(keys: dict[str, Node], page: Page) -> Question | None:
    fields = IDENTIFY.open(keys["identify"], page) if "identify" in keys else None
    if fields is None:
        return None
    send, answer = SAID.at(fields, "send", page), PATTERN.at(fields, "answer", page)
    if answer is not None and not set(answer.groupindex) & set(NAMES):
        page.wrong(fields["answer"], "answer: has neither a group `serial` nor one `firmware`")
    return None if send is None or answer is None else Question(send=send, answer=answer)


def _read_read(keys: dict[str, Node], page: Page) -> Question | None:
    fields = READ.open(keys["read"], page) if "read" in keys else None
    if fields is None:
        return None
    send, answer = SAID.at(fields, "send", page), PATTERN.at(fields, "answer", page)
    every = DURATION.at(fields, "every", page)
    if every == 0:
        page.wrong(fields["every"], "every: expected more than 0 s")
        return None
    return (
        None if send is None or every is None else Question(send=send, answer=answer, every=every)
    )


def _read_readings(found: ConsoleText, page: Page) -> tuple[re.Pattern[str], ...]:
    if "readings" not in found.keys:
        return ()
    patterns = []
    for entry in READINGS.open(found.keys["readings"], page):
        pattern = PATTERN.read(entry, page, "readings")
        if pattern is None:
            continue
        patterns.append(pattern)
        if not pattern.groupindex:
            what = (
                f"readings: the pattern {show(pattern.pattern)} has no group, so it carries nothing"
            )
            page.wrong(entry, what, "(?P<signal>[0-9.]+)")
        for group in pattern.groupindex:
            found.carried.setdefault(group, entry)
    return tuple(patterns)


def _read_commands(found: ConsoleText, page: Page) -> None:
    keys = found.keys
    accept, refuse = PATTERN.at(keys, "accept", page), PATTERN.at(keys, "refuse", page)
    entries = COMMANDS.open(keys["commands"], page) if "commands" in keys else []
    for _, name, entry in entries:
        words = _read_command(entry, accept, refuse, "accept" in keys, page)
        found.commands[name] = (entry, words)


def _read_command(
    node: Node,
    accept: re.Pattern[str] | None,
    refuse: re.Pattern[str] | None,
    given: bool,
    page: Page,
) -> Phrase | None:
    fields: dict[str, Node] = {"send": node}
    if type(node) is Map:
        fields = COMMAND.open(node, page) or {}
    send = SAID.at(fields, "send", page)
    own, no = PATTERN.at(fields, "accept", page), PATTERN.at(fields, "refuse", page)
    if send is not None:
        _check_places(send, fields["send"], page)
    if "accept" not in fields and not given:
        what = "nothing says how it is answered: the console has no `accept`, nor has this"
        page.wrong(node, what, "accept: 'ok.*'")
    words = own or accept
    if send is None or words is None:
        return None
    return Phrase(send=send, accept=words, refuse=no or refuse)


def _check_places(send: str, node: Node, page: Page) -> None:
    places = _PLACE.findall(send)
    unknown = [place for place in places if place not in ("{value}", "{raw}")]
    if unknown:
        page.wrong(node, f"send: {show(unknown[0])} stands for nothing", "{value} or {raw}")
    elif not places:
        page.wrong(node, "send: has no `{value}`, so it says nothing about the value", "{value}")
