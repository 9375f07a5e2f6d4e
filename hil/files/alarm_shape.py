"""The shape of an alarm spec file: every key, what may stand in it, and what it is for.

Levels are stated with four words, so that no edge is without an owner:

    at-or-above: 3.60 bar    3.60 bar itself belongs to the band
    above: 3.60 bar          it does not

and in the same way `at-or-below` and `below`, also for the level at which an alarm clears.
"""

from hil.alarms.spec import AfterFault, Counting, Meaning, Rule
from hil.core.instant import Duration
from hil.files.alarm_show_shape import INDICATORS, RGB, ROUNDING
from hil.files.alarm_text import read_age, read_code
from hil.files.leaf import (
    DURATION,
    FLAG,
    NAME,
    NAME_PATTERN,
    NUMBER,
    QUANTITY,
    RANGE,
    TITLE,
    WHOLE,
    words,
)
from hil.files.plan_shape import ONE_OR_MANY_TITLES, PATH, STIMULI
from hil.files.scalar import read_name
from hil.files.shape import Key, Leaf, Many, Names, Record

LOWS = ("at-or-above", "above")
HIGHS = ("at-or-below", "below")
CLEARS = ("clears-at-or-below", "clears-below", "clears-at-or-above", "clears-above")
DEAD_BANDS = ("dead-band", *CLEARS)
ALARM_ONLY = (*DEAD_BANDS, "reset-point", "on-delay", "off-delay", "latched", "reported-by")
MEANINGS = tuple(meaning.name.lower() for meaning in Meaning)
QUANTITIES = ("flow", "level", "pressure", "temperature")

CODE: Leaf[str] = Leaf(
    "the code of a finding such as `AL-401`",
    read_code,
    {"type": "string", "pattern": "^AL-[0-9]{3}$"},
)
COLOUR: Leaf[str] = Leaf("a colour", read_name, {"type": "string", "pattern": NAME_PATTERN})
AGE: Leaf[Duration | str] = Leaf(
    "a duration or `never`", read_age, {"type": "string", "examples": ["500 ms", "never"]}
)
RESET_POINT = words("clears", "holds")
COUNTED = words(*(word.value for word in Counting))
IN_DEAD_BAND = words("counts", "interrupts")
DECIDES = words("measured", "displayed")
AFTERWARDS = words(*(word.value for word in AfterFault))
RULE = words(*(rule.value for rule in Rule))
MEANS = words(*MEANINGS)
QUANTITY_KIND = words(*QUANTITIES)


PAINT = Record(
    "a colour",
    {
        "rgb": Key(RGB, "its red, green and blue as 8-bit sRGB codes", True),
        "means": Key(MEANS, "what it says about the process (as the usual colour)"),
    },
)
DELAY = Record(
    "a delay",
    {
        "time": Key(DURATION, "how long the value must be beyond", True),
        "counted": Key(
            COUNTED,
            "whether an interruption starts the time afresh or only pauses it",
            True,
        ),
        "in-dead-band": Key(
            IN_DEAD_BAND,
            "whether a dip into the dead band counts as still beyond; needed with a dead band",
        ),
        "forget-after": Key(
            DURATION, "accumulated time is forgotten after so long on the other side"
        ),
    },
)
BAND = Record(
    "a band",
    {
        "band": Key(NAME, "its name", True),
        "colour": Key(COLOUR, "its colour", True),
        "at-or-above": Key(QUANTITY, "the lower edge, which belongs to this band"),
        "above": Key(QUANTITY, "the lower edge, which belongs to the band below"),
        "at-or-below": Key(QUANTITY, "the upper edge, which belongs to this band"),
        "below": Key(QUANTITY, "the upper edge, which belongs to the band above"),
        "dead-band": Key(QUANTITY, "how far inside its trip point the alarm clears: a width"),
        "clears-at-or-below": Key(QUANTITY, "the level at which an alarm on the high side clears"),
        "clears-below": Key(QUANTITY, "the level below which it clears"),
        "clears-at-or-above": Key(QUANTITY, "the level at which an alarm on the low side clears"),
        "clears-above": Key(QUANTITY, "the level above which it clears"),
        "reset-point": Key(
            RESET_POINT, "what a value exactly at trip point less dead band does (the spec's)"
        ),
        "on-delay": Key(DELAY, "how long beyond the trip point before it stands"),
        "off-delay": Key(DELAY, "how long past the reset point before it clears"),
        "latched": Key(FLAG, "whether it stays until it is acknowledged (no)"),
        "reported-by": Key(PATH, "the signal by which the node tells the trip point it works with"),
        "requirement": Key(ONE_OR_MANY_TITLES, "the requirement it meets, or several"),
    },
    rivals=(LOWS, HIGHS, DEAD_BANDS),
    goes_with={"reset-point": ("dead-band",)},
)
DISPLAY = Record(
    "a display",
    {
        "decimals": Key(WHOLE, "how many decimals are shown", True),
        "rounding": Key(ROUNDING, "where a value between two shown ones goes", True),
    },
)
NO_READING = Record(
    "no-reading",
    {
        "fault": Key(COLOUR, "the colour of a sensor fault: sentinel, NaN, out of range", True),
        "stale": Key(COLOUR, "the colour of a value that is too old", True),
        "silent": Key(COLOUR, "the colour of a node that says nothing", True),
        "stale-after": Key(AGE, "the age after which a value is too old, or `never`", True),
        "silent-after": Key(AGE, "how long a node may say nothing, or `never`", True),
        "afterwards": Key(
            AFTERWARDS,
            "whether alarms that stood before still stand when readings come back",
            True,
        ),
    },
)
START_UP = Record(
    "start-up",
    {
        "colour": Key(COLOUR, "what is shown until the first judgement", True),
        "hold": Key(DURATION, "how long nothing is judged after a start", True),
    },
)
ACKNOWLEDGE = Record(
    "acknowledge",
    {
        "signal": Key(PATH, "the signal by which somebody acknowledges", True),
        "becomes": Key(TITLE, "the label it turns to", True),
        "while-active": Key(FLAG, "whether that counts while the alarm still stands", True),
        "survives-restart": Key(FLAG, "whether a latch outlives a restart of the node", True),
    },
)
TOLERANCE = Record(
    "a tolerance",
    {
        "level": Key(QUANTITY, "how far a trip or reset point may be off, to either side", True),
        "time": Key(DURATION, "how far a delay may be off, to either side", True),
        "rule": Key(RULE, "how doubt is dealt with", True),
        "guard": Key(NUMBER, "the guard band as a multiple of the expanded uncertainty (1)"),
    },
)
DRIVEN_BY = Record(
    "a driven signal",
    {
        "signal": Key(PATH, "the driven signal that the input follows in a straight line", True),
        "at-low": Key(QUANTITY, "its value at the low end of the spec's range", True),
        "at-high": Key(QUANTITY, "its value at the high end", True),
    },
)
PROVOKE = Record(
    "provoke",
    {
        "driven-by": Key(DRIVEN_BY, "what is driven instead of the input (the input itself)"),
        "sentinel": Key(STIMULI, "what makes the sensor say that it has no reading"),
        "not-a-number": Key(STIMULI, "what makes it report NaN"),
        "out-of-range": Key(STIMULI, "what makes it report a value outside its range"),
        "stale": Key(STIMULI, "what lets its value grow old"),
        "silent": Key(STIMULI, "what makes its node say nothing"),
        "restart": Key(STIMULI, "what restarts the node that decides"),
        "sensor-restart": Key(STIMULI, "what restarts the node of the sensor"),
    },
)
ACCEPTED = Record(
    "an accepted finding",
    {
        "code": Key(CODE, "the code of the finding", True),
        "for": Key(TITLE, "the band, look or signal it is about (any)"),
        "reason": Key(TITLE, "why one can live with it", True),
    },
)
BANDS = Many("a list of two or more bands", BAND, 2)
ACCEPTANCES = Many("a list of accepted findings", ACCEPTED)
SPEC = Record(
    "a spec",
    {
        "spec": Key(TITLE, "its name, once per file", True),
        "signal": Key(PATH, "the signal that is judged", True),
        "requirement": Key(ONE_OR_MANY_TITLES, "the requirement it meets, or several"),
        "quantity": Key(QUANTITY_KIND, "what it is, for the usual starting points"),
        "unit": Key(TITLE, "the unit in which `hil alarms compare` shows it (the signal's)"),
        "range": Key(RANGE, "the range that the bands cover (that of the signal)"),
        "given": Key(STIMULI, "what must be driven for the spec to hold: signals with values"),
        "normal": Key(NAME, "the band that is no alarm", True),
        "bands": Key(BANDS, "the bands from low to high, covering the range once", True),
        "reset-point": Key(
            RESET_POINT, "what a value exactly at trip point less dead band does; clears or holds"
        ),
        "decides": Key(DECIDES, "which value the bands apply to", True),
        "display": Key(DISPLAY, "how the value is displayed"),
        "no-reading": Key(NO_READING, "what is shown without a reading", True),
        "start-up": Key(START_UP, "what is shown after a start", True),
        "acknowledge": Key(ACKNOWLEDGE, "how latched alarms are acknowledged"),
        "indicators": Key(INDICATORS, "everything that must show it", True),
        "agree-within": Key(DURATION, "the time within which all indicators show a change", True),
        "tolerance": Key(TOLERANCE, "how far off a node may be, and how that is decided", True),
        "provoke": Key(PROVOKE, "how a proof brings things about"),
        "accept": Key(ACCEPTANCES, "findings of the review that are accepted"),
    },
)
PAINTS = Names("colours by name", PAINT, read_name, NAME_PATTERN)
SPECS = Many("a list of specs", SPEC)
ALARMS = Record(
    "an alarm spec file",
    {
        "alarms": Key(TITLE, "the title of the file", True),
        "colours": Key(PAINTS, "colours that differ from the usual palette, or are not in it"),
        "specs": Key(SPECS, "its specs; at least one", True),
    },
)
