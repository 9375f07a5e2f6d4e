"""The shape of a bench file: every key, what may stand in it, and what it is for."""

from hil.files.bus_shape import BUS, RELAY
from hil.files.coap_shape import COAP, COAP_SIGNAL, PATH
from hil.files.command_shape import COMMANDS
from hil.files.console_shape import CONSOLE
from hil.files.leaf import (
    ADDRESS,
    ANY_TEXT,
    DOTTED,
    DOTTED_PATTERN,
    DURATION,
    FLAG,
    HOST,
    NAME,
    NAME_PATTERN,
    NUMBER,
    OCTETS,
    QUANTITY,
    RANGE,
    TITLE,
    VALUE,
    VERSION,
    WHOLE,
    WHOLE_PATTERN,
    words,
)
from hil.files.operator_shape import OPERATOR
from hil.files.scalar import read_dotted, read_name, read_whole
from hil.files.shape import Either, Key, Leaf, Many, Names, Record

FORMS = (
    *("u8", "i8", "u16", "i16", "u24", "i24", "u32", "i32", "u48", "i48", "u64", "i64"),
    *("f32", "f64", "bytes", "text", "pad"),
)
MEANINGS = (
    *("node", "request", "operation", "value", "status", "sequence", "uptime", "boots"),
    *("length", "crc"),
)

FORM = words(*FORMS)
MEANING = words(*MEANINGS)
ORDER_WORD = words("big", "little")
ROLE = words("reading", "request", "answer", "announce", "ask")
EACH_CHANGE = Leaf("`each change` or a duration", str, {"type": "string"})
UNIT: Leaf[str] = Leaf('a unit such as `bar` or `"%"`', str, {"type": ["string", "number"]})
RAW_RANGE = Leaf(
    "a raw number or a range such as `0x7FF0 to 0x7FFE`", str, {"type": ["integer", "string"]}
)
ANY = Leaf("a text", str, ANY_TEXT)

CHECK = Record(
    "a check",
    {
        "width": Key(WHOLE, "how many bits it has, 1 to 64", True),
        "polynomial": Key(WHOLE, "its polynomial, without the highest bit", True),
        "start": Key(WHOLE, "the register's start value", True),
        "reflect-in": Key(FLAG, "whether each octet is taken least significant bit first", True),
        "reflect-out": Key(FLAG, "whether the register is mirrored at the end", True),
        "final-xor": Key(WHOLE, "what the result is combined with at the end", True),
        "check": Key(WHOLE, "its result over the ASCII text 123456789", True),
    },
)

ORDER = Either((ORDER_WORD, Many("a permutation such as `[2, 3, 0, 1]`", WHOLE)))
LABELS = Names("labels such as `{0: off, 1: on}`", TITLE, read_whole, WHOLE_PATTERN)

BIT = Record(
    "a bit",
    {
        "name": Key(DOTTED, "what it is called, where it is no signal"),
        "signal": Key(DOTTED, "the node's signal that it carries"),
        "shift": Key(WHOLE, "its lowest bit, counted from the least significant one", True),
        "width": Key(WHOLE, "how many bits it has", True),
        "is": Key(MEANING, "what it means to the tool"),
        "constant": Key(WHOLE, "a number that is always there"),
        "labels": Key(LABELS, "names for its counts, where it is no signal"),
    },
    choices=(("name", "signal"),),
)
BITS = Many("a list of bits", BIT)
FIELD = Record(
    "a field",
    {
        "name": Key(DOTTED, "what it is called, where it is no signal"),
        "signal": Key(DOTTED, "the node's signal that it carries"),
        "type": Key(FORM, "its form on the wire", True),
        "is": Key(MEANING, "what it means to the tool"),
        "constant": Key(VALUE, "a number (or octets in hex) that is always there"),
        "size": Key(WHOLE, "octets of a text, of bytes or of padding"),
        "order": Key(ORDER, "its octet order, where it differs from the layout's"),
        "tick": Key(DURATION, "how long one count of an uptime is (1 ms)"),
        "crc": Key(NAME, "the check by its name under `checks`"),
        "labels": Key(LABELS, "names for its counts, where it is no signal"),
        "bits": Key(BITS, "what the bits of an unsigned field carry"),
    },
    goes_with={"tick": ("is",), "crc": ("is",)},
)
FIELDS = Many("a list of fields", FIELD)
EXAMPLE_VALUES = Names("values by field", VALUE, read_dotted, DOTTED_PATTERN)
EXAMPLE = Record(
    "an example",
    {
        "bytes": Key(OCTETS, "one whole datagram in hex", True),
        "values": Key(
            EXAMPLE_VALUES,
            "what it carries, by field; signals with their unit",
            True,
        ),
    },
)
EXAMPLES = Many("a list of examples", EXAMPLE)
LAYOUT = Record(
    "a layout",
    {
        "role": Key(ROLE, "who sends it: node unasked, tool, or node as an answer", True),
        "order": Key(ORDER, "octet order of all its fields (big)"),
        "fields": Key(
            Many("a list of fields", FIELD), "its fields, in the order of the wire", True
        ),
        "examples": Key(EXAMPLES, "worked examples, at least one", True),
        "append-allowed": Key(FLAG, "whether later firmware may send more octets (no)"),
    },
)

DRIVE = Record(
    "a drive",
    {
        "operation": Key(WHOLE, "the number of the operation that drives it, where a layout does"),
        "safe": Key(VALUE, "where it must be when a run ends, however it ends", True),
        "rest": Key(VALUE, "where it is put back after a case (the safe value)"),
        "actuator": Key(FLAG, "whether it moves, heats or lights something (yes)"),
        "rate": Key(QUANTITY, "how fast it may be commanded to change"),
        "readback": Key(DOTTED, "the sensed signal of this node that shows where it is"),
        "readback-tolerance": Key(QUANTITY, "how far the readback may be off (0)"),
        "settle": Key(DURATION, "how long it takes to get there (0 s)"),
    },
    goes_with={"readback-tolerance": ("readback",)},
)
SENTINELS = Many("a list of raw numbers", RAW_RANGE)
ACCURACY = Record(
    "an accuracy",
    {
        "of-reading": Key(QUANTITY, "a share of the reading, such as `0.5 %`"),
        "of-range": Key(QUANTITY, "a share of the range, such as `0.1 %`"),
        "counts": Key(NUMBER, "so many counts"),
        "fixed": Key(QUANTITY, "a difference that is always the same"),
    },
)
SIGNAL = Record(
    "a signal",
    {
        "unit": Key(UNIT, "the unit of a number; `%`, `fraction` or `count` without dimension"),
        "labels": Key(LABELS, "the states of a signal that is no number, by raw number"),
        "text": Key(FLAG, "`yes` for a signal that carries text"),
        "scale": Key(NUMBER, "value = raw × scale + offset (1)"),
        "offset": Key(NUMBER, "value = raw × scale + offset (0)"),
        "range": Key(RANGE, "what is physically meant; outside it there is no reading"),
        "sentinels": Key(SENTINELS, "raw numbers that mean `no reading`"),
        "accuracy": Key(
            Either((QUANTITY, ACCURACY)), "how far a reading may be from the truth: one, or a sum"
        ),
        "noise": Key(QUANTITY, "by how much a resting value may wander (0)"),
        "sampling": Key(EACH_CHANGE, "longest time between two looks (poll, or each change)"),
        "stale-after": Key(DURATION, "the age at which a value no longer counts"),
        "warm-up": Key(DURATION, "how long readings do not count after a boot (0 s)"),
        "drive": Key(DRIVE, "how the tool may drive it"),
        "coap": Key(Either((PATH, COAP_SIGNAL)), "where a CoAP node has it"),
    },
    choices=(("unit", "labels", "text"),),
    goes_with=dict.fromkeys(("scale", "offset", "range", "accuracy", "noise"), ("unit",)),
)
REQUESTS = Record(
    "requests",
    {
        "read": Key(WHOLE, "the operation that asks for a reading"),
        "poll": Key(DURATION, "how often the tool asks for one"),
        "listen": Key(WHOLE, "the operation that asks to be kept informed"),
        "renew": Key(DURATION, "how often that is repeated"),
    },
    goes_with={"poll": ("read",), "renew": ("listen",), "listen": ("renew",)},
)
USED_LAYOUTS = Many("a list of layouts", NAME)
SIGNALS = Names("signals by name", SIGNAL, read_dotted, DOTTED_PATTERN)
NODE = Record(
    "a node",
    {
        "number": Key(WHOLE, "its number on the bus, once per bench", True),
        "address": Key(ADDRESS, "where it is: address and UDP port"),
        "serial": Key(TITLE, "the serial number it must report"),
        "firmware": Key(VERSION, "the firmware it must report, such as `>= 1.10`"),
        "readings-to": Key(ADDRESS, "the group that it tells its readings by itself, with port"),
        "layouts": Key(USED_LAYOUTS, "the datagrams it knows"),
        "coap": Key(COAP, "how it speaks CoAP, instead of `layouts`"),
        "console": Key(CONSOLE, "its serial console"),
        "answer-within": Key(DURATION, "its longest time to answer a request", True),
        "any-source": Key(FLAG, "whether it may answer from another address of its own (no)"),
        "requests": Key(REQUESTS, "what it can be asked"),
        "signals": Key(SIGNALS, "its signals by name", True),
    },
    some=(("address", "console"), ("layouts", "coap", "console")),
    rivals=(("layouts", "coap"),),
    goes_with={
        "layouts": ("address",),
        "coap": ("address",),
        "requests": ("layouts",),
        "readings-to": ("layouts",),
        "any-source": ("layouts",),
    },
)
SETTINGS = Names("settings by name", ANY, read_dotted, DOTTED_PATTERN, 0)
SOFTWARE = Record(
    "software",
    {
        "model": Key(NAME, "which software rack", True),
        "seed": Key(WHOLE, "where its noise begins", True),
        "settings": Key(SETTINGS, "settings of the model"),
    },
)
DISCOVERY = Record(
    "a discovery",
    {
        "group": Key(ADDRESS, "the multicast group, or 255.255.255.255, with the UDP port"),
        "announce": Key(NAME, "the layout by which nodes say who they are"),
        "ask": Key(NAME, "the layout by which the tool asks who is there (it only listens)"),
        "coap": Key(FLAG, "whether CoAP nodes are asked as well, at their multicast group (no)"),
        "rounds": Key(WHOLE, "how many rounds a scan has (3)"),
        "every": Key(DURATION, "how long each round lasts (500 ms)"),
    },
    goes_with={"announce": ("group",), "ask": ("announce",), "group": ("announce",)},
)
CHECKS = Names("checks by name", CHECK, read_name, NAME_PATTERN)
LAYOUTS = Names("layouts by name", LAYOUT, read_name, NAME_PATTERN)
NODES = Names("nodes by name", NODE, read_name, NAME_PATTERN)
CAUSES = Many("a list of signals", DOTTED)
DEPENDS = Names("signals with what they follow", CAUSES, read_dotted, DOTTED_PATTERN)
BENCH = Record(
    "a bench file",
    {
        "bench": Key(TITLE, "the name of the bench", True),
        "interface": Key(NAME, "the network interface the rack is on", True),
        "host": Key(HOST, "the address of this computer that the tool sends from", True),
        "host-late": Key(DURATION, "how late this computer may be and still judge (50 ms)"),
        "checks": Key(CHECKS, "CRCs by name"),
        "layouts": Key(LAYOUTS, "datagrams by name"),
        "nodes": Key(NODES, "nodes by name", True),
        "depends": Key(DEPENDS, "which signals follow which, so that they may move with them"),
        "discovery": Key(DISCOVERY, "how nodes can be found, besides asking each at its address"),
        "alarms": Key(TITLE, "the alarm spec file of the bench, from the folder of this file"),
        "bus": Key(BUS, "the shared segment: turns, timers, cable, traffic"),
        "relay": Key(RELAY, "what is done to datagrams between the tool and software nodes"),
        "software": Key(SOFTWARE, "the software that can stand in for the rack"),
        "commands": Key(COMMANDS, "signals that this computer drives by running programs"),
        "operator": Key(OPERATOR, "what the bench does or looks at instead of a person"),
    },
)
