"""The shape of a plan file: every key, what may stand in it, and what it is for."""

from hil.files.ask_shape import ASK
from hil.files.bus_shape import DISTURBANCE
from hil.files.follow_shape import FOLLOW
from hil.files.leaf import (
    BOUND,
    DURATION,
    FLAG,
    NAME,
    NAME_PATTERN,
    NUMBER,
    QUANTITY,
    RANGE,
    TITLE,
    VALUE,
    WHOLE,
    WINDOW,
    words,
)
from hil.files.measure_shape import AGREE, CLOCK, RELATION, TRAFFIC, TRIALS, TRIALS_GO_WITH
from hil.files.scalar import read_name
from hil.files.shape import Either, Key, Leaf, Many, Names, Record

PATH = Leaf("a signal such as `feedline.pressure`", str, {"type": "string"})
EDGES = words("inclusive", "exclusive")
YES = Leaf("`yes`", str, {"enum": [True, "yes"]})
VARIANT = words("from-step", "ieee-181")
OTHERS = "others"
RULE = words("simple", "guarded", "stated-risk")
VARIABLE_PATTERN = NAME_PATTERN
PATH_PATTERN = "."

TITLES = Many("a list of texts", TITLE)
NAMES = Many("a list of names", NAME)
ONE_OR_MANY_TITLES = Either((TITLE, TITLES))
ONE_OR_MANY_NAMES = Either((NAME, NAMES))
PATHS = Many("a list of signals", PATH)
ONE_OR_MANY_PATHS = Either((PATH, PATHS))
VALUES = Many("a list of values", VALUE)

TOLERANCES = Many("a list of two or more tolerances", QUANTITY, 2)
LARGER_OF = Record("a tolerance", {"larger-of": Key(TOLERANCES, "the widest of them counts", True)})
_VALUE_WORDS = {
    "value": Key(VALUE, "exactly this; for a number with `tolerance`, as near as that"),
    "between": Key(RANGE, "a number in this range"),
    "above": Key(QUANTITY, "a number from this up"),
    "below": Key(QUANTITY, "a number up to this"),
    "one-of": Key(VALUES, "any of these"),
}
_RESPONSE = {
    "settle": Key(BOUND, "how long it takes until it stays within the tolerance"),
    "overshoot": Key(BOUND, "how far it goes beyond the value, in % of the step"),
    "undershoot": Key(BOUND, "how far it goes the other way, in % of the step"),
    "rise": Key(BOUND, "how long it takes from 10 % to 90 % of the step"),
    "delay": Key(BOUND, "how long it takes from the stimulus to 50 % of the step"),
    "slew": Key(BOUND, "how fast it moves from 10 % to 90 %: `at least 200 deg/s`"),
}
RESPONSE_WORDS = tuple(_RESPONSE)
_SPLIT = {
    "processing": Key(BOUND, "how much of the response time is spent in the rack's nodes"),
    "return": Key(BOUND, "how much of it the response spends on its way to the tool"),
    "outward": Key(DURATION, "the longest that the stimulus can take to its node"),
}
SPLIT_WORDS = tuple(_SPLIT)
_RULED = {
    "rule": Key(RULE, "how it is decided where the reading is uncertain"),
    "guard": Key(NUMBER, "the guard band of `guarded`, in multiples of U (1)"),
    "risk": Key(QUANTITY, "the risk of a false accept that `stated-risk` takes, such as `2.5 %`"),
    "stimulus-uncertainty": Key(
        QUANTITY, "how far what was imposed may be from what was meant (0)"
    ),
}
_NEARNESS = {
    "tolerance": Key(
        Either((QUANTITY, LARGER_OF)),
        "how far off: `0.05 bar`, `2 % of value`, or `{larger-of: [...]}`",
    ),
    "edges": Key(EDGES, "whether the limits themselves count (inclusive)"),
}
EXCLUDED = Record(
    "an excluded value",
    {**_VALUE_WORDS, **_NEARNESS},
    choices=(tuple(_VALUE_WORDS),),
    goes_with={"tolerance": ("value",)},
)
EXPECTATION = Record(
    "an expectation",
    {
        "signal": Key(
            ONE_OR_MANY_PATHS,
            "the signal, or several which must all satisfy it, or `others`",
            True,
        ),
        **_VALUE_WORDS,
        "not": Key(
            Either((VALUE, VALUES, EXCLUDED)), "anything but this, or but these, or but that range"
        ),
        "invalid": Key(YES, "the node must say that it has no reading"),
        "unchanged": Key(YES, "the same as before the stimulus"),
        **_NEARNESS,
        "within": Key(DURATION, "it must become so at or before this"),
        "hold": Key(DURATION, "and then stay so for this long"),
        "not-before": Key(DURATION, "and must not be so earlier than this"),
        "during": Key(WINDOW, "it must be so throughout this time"),
        "never": Key(DURATION, "it must not become so up to this"),
        **_RESPONSE,
        "by": Key(VARIANT, "whose terms the six above are in (from-step)"),
        **_SPLIT,
        **_RULED,
    },
    choices=(
        ("value", "between", "above", "below", "one-of", "not", "invalid", "unchanged"),
        ("within", "during", "never"),
    ),
    goes_with={
        "tolerance": ("value", "unchanged"),
        "edges": ("value", "between", "above", "below"),
        "hold": ("within",),
        "not-before": ("within",),
        **dict.fromkeys(RESPONSE_WORDS, ("value",)),
        "by": RESPONSE_WORDS,
        "processing": ("within",),
        "return": ("within",),
        "outward": ("processing", "return"),
        "guard": ("rule",),
        "risk": ("rule",),
        "stimulus-uncertainty": ("rule",),
    },
)
_FOR_STEPS = (*RESPONSE_WORDS, "by", *SPLIT_WORDS, *_RULED)
PRECONDITION_ENTRY = Record(
    "an expectation of a precondition",
    {name: key for name, key in EXPECTATION.keys.items() if name not in _FOR_STEPS},
    choices=EXPECTATION.choices[:1],
    goes_with={
        name: words for name, words in EXPECTATION.goes_with.items() if name not in _FOR_STEPS
    },
)

EXPECTATIONS = Many(
    "a list of expectations", Either((EXPECTATION, RELATION, AGREE, TRAFFIC, CLOCK))
)
STIMULI = Names("signals with their values", VALUE, str, PATH_PATTERN)
DISTURBANCES = Many("a list of disturbances", DISTURBANCE)
TOGETHER = Record(
    "a round of all nodes",
    {
        "drive": Key(STIMULI, "one signal of each node with its value, all sent at once", True),
        "rounds": Key(WHOLE, "how often all of them are asked", True),
        "pairs": Key(WHOLE, "how often every two of them are asked alone (not at all)"),
        "alone": Key(WHOLE, "how often each is asked by itself, at the end (not at all)"),
        "every": Key(DURATION, "the shortest time between two rounds (20 ms)"),
    },
)
PROVE = Record(
    "a proof of an alarm spec",
    {
        "alarms": Key(TITLE, "the alarm spec file, relative to this plan", True),
        "only": Key(
            ONE_OR_MANY_TITLES, "only properties with this text in the title, or with one of these"
        ),
        "repeat": Key(WHOLE, "how often every point is searched and every delay measured (3)"),
    },
)
STEP = Record(
    "a step",
    {
        "wait": Key(DURATION, "a pause before the stimulus (0 s)"),
        "stimulus": Key(STIMULI, "what is driven: signals with their values"),
        "expect": Key(EXPECTATIONS, "what must then be observed; all of it is checked"),
        **TRIALS,
        "follow": Key(FOLLOW, "drive a profile, and measure how the responses follow it"),
        "disturb": Key(DISTURBANCES, "what the relay does from here to the end of the case"),
        "together": Key(TOGETHER, "ask all nodes at once, many times, and count the answers"),
        "prove": Key(Either((TITLE, PROVE)), "prove an alarm spec: its file, or see below"),
        "ask": Key(ASK, "what a person is to do, or to look at"),
    },
    rivals=(("together", "prove", "disturb", "follow", "ask"), ("ask", "trials")),
    goes_with=TRIALS_GO_WITH,
)
STEPS = Many("a list of steps", STEP)

LISTS = Names("variables with lists of values", VALUES, read_name, VARIABLE_PATTERN)
ROW = Names("a row of variables with one value each", VALUE, read_name, VARIABLE_PATTERN)
ROWS = Many("a list of rows", ROW)

PRECONDITIONS = Many("a list of expectations", PRECONDITION_ENTRY)
CASE = Record(
    "a case",
    {
        "case": Key(TITLE, "its title, once per plan", True),
        "requirement": Key(ONE_OR_MANY_TITLES, "the requirement it proves, or several"),
        "tags": Key(ONE_OR_MANY_NAMES, "words to choose cases by"),
        "precondition": Key(
            Either((STIMULI, PRECONDITIONS)), "what must be observed before the first step"
        ),
        "vary": Key(
            Either((LISTS, ROWS)), "run it for every combination of lists, or for every row"
        ),
        "steps": Key(STEPS, "what is done and expected, in order", True),
        "restore": Key(FLAG, "whether to put back what it drove (yes)"),
        "reboots": Key(ONE_OR_MANY_NAMES, "nodes that may reboot meanwhile"),
        "skip": Key(TITLE, "a reason not to run it here"),
        **TRIALS,
    },
    goes_with=TRIALS_GO_WITH,
)
CASES = Many("a list of cases", CASE)
PLAN = Record(
    "a plan file",
    {
        "plan": Key(TITLE, "the title of the plan", True),
        "benches": Key(TITLES, "the names of the benches it is for (any)"),
        "cases": Key(CASES, "its cases; at least one", True),
    },
)
