"""The shape of a plan file: every key, what may stand in it, and what it is for."""

from hil.files.leaf import (
    DURATION,
    FLAG,
    NAME,
    NAME_PATTERN,
    QUANTITY,
    RANGE,
    TITLE,
    VALUE,
    words,
)
from hil.files.scalar import read_name
from hil.files.shape import Either, Key, Leaf, Many, Names, Record

PATH = Leaf("a signal such as `feedline.pressure`", str, {"type": "string"})
EDGES = words("inclusive", "exclusive")
YES = Leaf("`yes`", str, {"enum": [True, "yes"]})
WINDOW: Leaf[str] = Leaf(
    "a duration or a window such as `100 ms to 600 ms`", str, {"type": "string"}
)
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
        "signal": Key(ONE_OR_MANY_PATHS, "the signal, or several which must all satisfy it", True),
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
    },
)
PRECONDITION_ENTRY = Record(
    "an expectation of a precondition",
    EXPECTATION.keys,
    choices=EXPECTATION.choices[:1],
    goes_with=EXPECTATION.goes_with,
)

EXPECTATIONS = Many("a list of expectations", EXPECTATION)
STIMULI = Names("signals with their values", VALUE, str, PATH_PATTERN)
STEP = Record(
    "a step",
    {
        "wait": Key(DURATION, "a pause before the stimulus (0 s)"),
        "stimulus": Key(STIMULI, "what is driven: signals with their values"),
        "expect": Key(EXPECTATIONS, "what must then be observed; all of it is checked"),
    },
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
    },
)
CASES = Many("a list of cases", CASE)
PLAN = Record(
    "a plan file",
    {
        "plan": Key(TITLE, "the title of the plan", True),
        "cases": Key(CASES, "its cases; at least one", True),
    },
)
