"""The shape of the `bus` and the `relay` of a bench file."""

from hil.files.leaf import DOTTED, DOTTED_PATTERN, DURATION, FLAG, NAME, NAME_PATTERN, NUMBER, WHOLE
from hil.files.scalar import read_dotted, read_name
from hil.files.shape import Key, Leaf, Many, Names, Record

LENGTH: Leaf[str] = Leaf("a length such as `4.5 m`", str, {"type": "string"})
RATE: Leaf[str] = Leaf("a rate such as `10 Mbit/s`", str, {"type": "string"})

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
        "counters": Key(
            Many("a list of signals", DOTTED), "the node's own signals that count bus faults"
        ),
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
