"""The shape of the `bus` and the `relay` of a bench file."""

from hil.files.leaf import (
    ADDRESS,
    DOTTED,
    DOTTED_PATTERN,
    DURATION,
    FLAG,
    NAME,
    NAME_PATTERN,
    NUMBER,
    WHOLE,
    words,
)
from hil.files.scalar import read_dotted, read_name
from hil.files.shape import Either, Key, Leaf, Many, Names, Record

LENGTH: Leaf[str] = Leaf("a length such as `4.5 m`", str, {"type": "string"})
RATE: Leaf[str] = Leaf("a rate such as `10 Mbit/s`", str, {"type": "string"})

COUNTERS = Many("a list of signals", DOTTED)
PARTICIPANT = Record(
    "a participant",
    {
        "id": Key(WHOLE, "its PLCA id, 0 for the coordinator (none: it never gets a turn)"),
        "to-timer": Key(WHOLE, "its transmit opportunity timer, where it differs"),
        "burst": Key(WHOLE, "its burst count, where it differs"),
        "burst-timer": Key(WHOLE, "its burst timer, where it differs"),
        "stub": Key(LENGTH, "how long its drop from the cable is"),
        "other": Key(FLAG, "`yes` for a device that is neither a node of this file nor the tool"),
        "quality": Key(DOTTED, "the node's own signal that tells its signal quality"),
        "counters": Key(COUNTERS, "the node's own signals that count bus faults"),
        "unexpected-beacons": Key(DOTTED, "the node's own signal that counts a second beacon"),
    },
)
PARTICIPANTS = Names("participants by name", PARTICIPANT, read_name, NAME_PATTERN)
PLACES = Many("a list of names", NAME)
CABLE = Record(
    "a cable",
    {
        "length": Key(LENGTH, "from one end to the other", True),
        "ends": Key(PLACES, "what sits at its two physical ends", True),
        "terminated": Key(PLACES, "where it is terminated", True),
    },
)
TRAFFIC = Record(
    "traffic",
    {
        "from": Key(NAME, "who sends it"),
        "to": Key(NAME, "who gets it (everybody)"),
        "size": Key(WHOLE, "octets of UDP payload"),
        "every": Key(DURATION, "the shortest time between two of them"),
        "answer": Key(WHOLE, "octets of the receiver's answer to each (no answer)"),
    },
)
TRAFFICS = Names("traffic by name", TRAFFIC, read_dotted, DOTTED_PATTERN)
NOISE = Record(
    "noise",
    {
        "bit-errors": Key(NUMBER, "the part of all bits that is turned over (0)"),
        "loss": Key(NUMBER, "the part of all frames that is swallowed whole (0)"),
    },
)
BUS = Record(
    "a bus",
    {
        "rate": Key(RATE, "bits per second (10 Mbit/s)"),
        "plca": Key(FLAG, "whether nodes take turns (yes); else they contend"),
        "node-count": Key(WHOLE, "the coordinator's node count (8)"),
        "to-timer": Key(WHOLE, "transmit opportunity timer in bit times (32)"),
        "burst": Key(WHOLE, "how many frames may follow the first in a turn (0)"),
        "burst-timer": Key(WHOLE, "how long a turn is held for one more, in bit times (128)"),
        "participants": Key(PARTICIPANTS, "who is on it; `tool` is this computer's adapter", True),
        "cable": Key(CABLE, "the pair itself"),
        "readings-every": Key(DURATION, "the shortest time between two readings of a node (20 ms)"),
        "commands-every": Key(DURATION, "the shortest time between two commands to one (20 ms)"),
        "traffic": Key(TRAFFICS, "what else is sent, or what differs from what is derived"),
        "noise": Key(NOISE, "what the simulated line does to frames"),
        "set-plca": Key(FLAG, "whether the tool sets its own adapter's PLCA up and reads it (no)"),
        "quality-at-least": Key(WHOLE, "the smallest signal quality index that is good enough"),
    },
)

PART: Leaf[str] = Leaf("a part such as `5 %`", str, {"type": ["string", "number"]})
WAYS = words("both", "to-node", "from-node")
DISTURBED = Many("a list of nodes", NAME)
DISTURBANCE = Record(
    "a disturbance",
    {
        "node": Key(Either((NAME, DISTURBED)), "whose datagrams, one or several (all)"),
        "way": Key(WAYS, "which of them: `to-node`, `from-node` or `both` (both)"),
        "delay": Key(DURATION, "how long each is held (0 ms)"),
        "jitter": Key(DURATION, "up to how much longer, by chance; the order is kept (0 ms)"),
        "rate": Key(RATE, "how many bits of payload pass per second (no limit)"),
        "loss": Key(PART, "the part that is lost (0 %)"),
        "duplicate": Key(PART, "the part that passes twice (0 %)"),
        "reorder": Key(PART, "the part that later ones overtake (0 %)"),
        "held": Key(DURATION, "how much longer an overtaken one is held (20 ms)"),
        "corrupt": Key(PART, "the part in which one bit is turned over (0 %)"),
        "truncate": Key(PART, "the part that is cut short (0 %)"),
        "begin": Key(DURATION, "from when on, counted from the start of the relay (0 s)"),
        "end": Key(DURATION, "until when (for ever)"),
    },
    goes_with={"held": ("reorder",)},
)
SCRIPT = Many("a list of disturbances", DISTURBANCE, 0)
BEHIND = Names("addresses by node", ADDRESS, read_name, NAME_PATTERN)
RELAY = Record(
    "a relay",
    {
        "seed": Key(WHOLE, "where its chance begins (0)"),
        "script": Key(SCRIPT, "what it does; of several that fit, the last counts (nothing)"),
        "behind": Key(BEHIND, "where nodes really are that no software of ours stands in for"),
    },
)
