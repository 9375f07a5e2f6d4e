"""The shape of the indicators of an alarm spec file: ways of showing, by look."""

from decimal import Decimal
from typing import Any

from hil.alarms.indicator import Cue, Rgb, Rounding
from hil.files.alarm_text import read_rate, read_region, read_rgb, read_span
from hil.files.leaf import DURATION, NAME, NAME_PATTERN, QUANTITY, TITLE, WHOLE, words
from hil.files.plan_shape import ONE_OR_MANY_PATHS, PATH
from hil.files.scalar import read_name
from hil.files.shape import Either, Key, Leaf, Many, Names, Record

WAYS = ("labels", "text", "rgb", "chromaticity", "segments", "reading", "blink")
ROUNDINGS = {word.value.replace(" ", "-"): word for word in Rounding}

RGB: Leaf[Rgb] = Leaf(
    'red, green and blue such as `"#FFBF00"`',
    read_rgb,
    {"type": ["string", "number"], "examples": ["#FFBF00"]},
)
BY_COLOUR = words("by colour")
AS_DISPLAYED = words("as displayed")
SPAN: Leaf[tuple[int, int]] = Leaf(
    "a number of segments such as `3` or `2 to 4`", read_span, {"type": ["integer", "string"]}
)
RATE: Leaf[tuple[Decimal, Decimal]] = Leaf(
    "`steady` or a rate such as `1.4 Hz to 2.8 Hz`",
    read_rate,
    {"type": "string", "examples": ["steady", "1.4 Hz to 2.8 Hz"]},
)
REGION: Leaf[str] = Leaf(
    "a region such as `icao_green`, or `dark`", read_region, {"type": "string"}
)
ROUNDING = words(*ROUNDINGS)
CUE = words(*(cue.value for cue in Cue))


def _by_look(label: str, shape: Leaf[Any]) -> Names:
    return Names(label, shape, read_name, NAME_PATTERN)


LABELS_BY_LOOK = _by_look("labels by look", TITLE)
TEXTS_BY_LOOK = _by_look("texts by look", TITLE)
RGB_BY_LOOK = _by_look("colours by look", RGB)
REGIONS_BY_LOOK = _by_look("regions by look", REGION)
SPANS_BY_LOOK = _by_look("lit segments by look", SPAN)
RATES_BY_LOOK = _by_look("rates by look", RATE)

READING = Record(
    "a reading",
    {
        "decimals": Key(WHOLE, "how many decimals it shows (those of `display`)"),
        "rounding": Key(ROUNDING, "how it is rounded (as `display`)"),
        "tolerance": Key(QUANTITY, "how far it may be off (0)"),
        "instead": Key(TEXTS_BY_LOOK, "what it shows without a reading (no valid value)"),
    },
)
INDICATOR = Record(
    "an indicator",
    {
        "signal": Key(ONE_OR_MANY_PATHS, "the signal that shows it, or several that do so alike"),
        "signals": Key(
            Many("a list of signals", PATH),
            "several signals that show it together: RGB, or x and y",
        ),
        "labels": Key(
            Either((BY_COLOUR, LABELS_BY_LOOK)),
            "`by colour` where the label is the colour's name, or the label of each look",
        ),
        "text": Key(TEXTS_BY_LOOK, "the exact text of each look"),
        "rgb": Key(
            Either((BY_COLOUR, RGB_BY_LOOK)),
            "`by colour`, or the 8-bit codes of each look",
        ),
        "chromaticity": Key(REGIONS_BY_LOOK, "the region of measured x and y, or `dark`"),
        "segments": Key(SPANS_BY_LOOK, "how many segments are lit"),
        "reading": Key(Either((AS_DISPLAYED, READING)), "it shows the value itself, rounded"),
        "blink": Key(RATES_BY_LOOK, "how fast it flashes"),
        "cue": Key(CUE, "by what people tell the labels apart (colour)"),
        "rgb-tolerance": Key(WHOLE, "how far each 8-bit code may be off (0)"),
        "within": Key(DURATION, "its own time to agree (that of the spec)"),
        "not-judged": Key(
            Either((NAME, Many("a list of looks", NAME))),
            "looks during which it may show anything, such as `start-up`",
        ),
    },
    choices=(("signal", "signals"), WAYS),
    goes_with={"cue": ("labels",), "rgb-tolerance": ("rgb",)},
)
INDICATORS = Many("a list of indicators", INDICATOR)
