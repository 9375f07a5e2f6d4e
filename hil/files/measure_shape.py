"""The shapes of what is measured in a plan: trials, traffic."""

from hil.files.leaf import BOUND, DURATION, NAME, QUANTITY, TITLE, WHOLE, WINDOW
from hil.files.shape import Either, Key, Leaf, Many, Record

SHARE = QUANTITY
_CONFIDENCE = Key(SHARE, "how sure that must be (95 %)")

LATENCY = Record(
    "a statement about the latency",
    {
        "percentile": Key(SHARE, "which: the time that so many trials keep, such as `95 %`", True),
        "below": Key(DURATION, "what it must be, or less", True),
        "confidence": _CONFIDENCE,
    },
)
LATENCIES = Many("a list of statements about the latency", LATENCY)

TRAFFIC_LIMITS = {
    "loss": Key(BOUND, "readings that never came, in %"),
    "duplicates": Key(BOUND, "readings that came again, in %"),
    "reordering": Key(BOUND, "readings that came after a later one, in %"),
    "delay-variation": Key(BOUND, "the greatest difference of delay between two in a row"),
    "jitter": Key(BOUND, "the smoothed difference of delay"),
}
TRAFFIC = Record(
    "an expectation of traffic",
    {
        "traffic": Key(NAME, "the node whose readings are counted", True),
        **TRAFFIC_LIMITS,
        "during": Key(DURATION, "for how long, from the stimulus on", True),
    },
)
TRIAL_TRAFFIC = Record(
    "traffic of trials",
    {"node": Key(NAME, "the node whose readings are counted", True), **TRAFFIC_LIMITS},
)
TRIAL_TRAFFICS = Many("a list of traffic of trials", TRIAL_TRAFFIC)

RELATION = Record(
    "a relation",
    {
        "relation": Key(
            TITLE, "an equation between signals, with ± where it need not be exact", True
        ),
        "tolerance": Key(QUANTITY, "how far the two sides may be apart, instead of ±"),
        "within": Key(DURATION, "it must come to hold at or before this"),
        "hold": Key(DURATION, "and then hold for this long"),
        "not-before": Key(DURATION, "and must not hold earlier than this"),
        "during": Key(WINDOW, "it must hold throughout this time"),
        "never": Key(DURATION, "it must not come to hold up to this"),
    },
    choices=(("within", "during", "never"),),
    goes_with={"hold": ("within",), "not-before": ("within",)},
)

PATH = Leaf("a signal such as `feedline.pressure`", str, {"type": "string"})
AGREEING = Many("a list of two or more signals", PATH, 2)
AGREE = Record(
    "an agreement",
    {
        "agree": Key(AGREEING, "the signals that show the same thing", True),
        "within": Key(DURATION, "how long they may differ after a change", True),
        "tolerance": Key(QUANTITY, "how far numbers may be apart (0)"),
        "during": Key(DURATION, "for how long it is watched, from the stimulus on", True),
    },
)
CLOCK = Record(
    "an expectation of a clock",
    {
        "clock": Key(NAME, "the polled node whose exchanges are measured", True),
        "drift": Key(BOUND, "how fast its clock runs: `-200 ppm to 200 ppm`"),
        "round-trip": Key(BOUND, "from asking for a reading to its arrival"),
        "processing": Key(BOUND, "the part of it inside the node; needs `outward`"),
        "return": Key(BOUND, "the part of it from the node's stamp to the arrival"),
        "outward": Key(DURATION, "the longest that a request can take to the node"),
        "during": Key(DURATION, "for how long, from the stimulus on", True),
    },
)

TRIALS = {
    "trials": Key(WHOLE, "how often all of it is done, to make a statement about all of them"),
    "at-least": Key(SHARE, "the share of all trials that passes, such as `99 %`"),
    "confidence": _CONFIDENCE,
    "latency": Key(Either((LATENCY, LATENCIES)), "how long it takes in how many of them"),
    "traffic": Key(Either((TRIAL_TRAFFIC, TRIAL_TRAFFICS)), "how readings arrive meanwhile"),
}
TRIALS_GO_WITH = {
    "at-least": ("trials",),
    "confidence": ("at-least",),
    "latency": ("trials",),
    "traffic": ("trials",),
}
