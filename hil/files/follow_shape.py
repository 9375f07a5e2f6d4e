"""The shapes of `follow`: a driven profile, and what the responses must do."""

from hil.files.leaf import BOUND, DURATION, QUANTITY, VALUE
from hil.files.scalar import read_title
from hil.files.shape import Key, Leaf, Many, Names, Record

PATH = Leaf("a signal such as `feedline.pressure`", str, {"type": "string"})
_CENTRE = Key(QUANTITY, "the value it swings about", True)
_AMPLITUDE = Key(QUANTITY, "how far it swings to either side", True)
_FREQUENCY = "how often, such as `0.5 Hz`"

RAMP = Record(
    "a ramp",
    {
        "from": Key(VALUE, "the value at the start", True),
        "to": Key(VALUE, "the value at the end", True),
        "over": Key(DURATION, "how long it takes", True),
    },
)
SINE = Record(
    "a sine",
    {
        "centre": _CENTRE,
        "amplitude": _AMPLITUDE,
        "frequency": Key(QUANTITY, _FREQUENCY, True),
        "phase": Key(QUANTITY, "its angle at the start (0 deg)"),
    },
)
CHIRP = Record(
    "a chirp",
    {
        "centre": _CENTRE,
        "amplitude": _AMPLITUDE,
        "from": Key(QUANTITY, f"{_FREQUENCY}, at the start", True),
        "to": Key(QUANTITY, f"{_FREQUENCY}, at the end", True),
        "over": Key(DURATION, "how long it takes from one to the other", True),
    },
)
POINTS = Names("times with their values", VALUE, read_title, ".", 2)

PROFILES = {
    "ramp": Key(RAMP, "from one value to another at a steady rate"),
    "levels": Key(POINTS, "values, each held until the next, by their times"),
    "points": Key(POINTS, "recorded values joined by straight lines, by their times"),
    "sine": Key(SINE, "a sine"),
    "chirp": Key(CHIRP, "a sine whose frequency rises or falls steadily"),
}
FOLLOWER = Record(
    "a response",
    {
        "signal": Key(PATH, "the signal that must follow", True),
        "lag": Key(BOUND, "how much later it is"),
        "gain": Key(BOUND, "how far it moves for what is commanded, 1 being as far"),
        "worst-error": Key(BOUND, "how far it is ever from what is commanded"),
        "phase": Key(BOUND, "of a sine, its angle against the command's, lagging below 0"),
    },
)
FOLLOWERS = Many("a list of responses", FOLLOWER)
FOLLOW = Record(
    "a profile to follow",
    {
        "drive": Key(PATH, "the signal that is driven", True),
        **PROFILES,
        "every": Key(DURATION, "how often a command is sent", True),
        "for": Key(DURATION, "how long it is driven", True),
        "after": Key(DURATION, "what comes before this does not count (0 s)"),
        "expect": Key(FOLLOWERS, "what the responses must do", True),
    },
    choices=(tuple(PROFILES),),
)
