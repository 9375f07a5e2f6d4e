"""The shape of a file of known faults."""

import datetime

from hil.files.leaf import NAME, TITLE, WHOLE
from hil.files.mistake import Misread, show
from hil.files.plan_shape import PATH
from hil.files.shape import Key, Leaf, Many, Record


def read_day(text: str) -> str:
    """Read a day; it stays text, whose order is that of days.

    >>> read_day("2027-03-01")
    '2027-03-01'
    """
    try:
        day = datetime.date.fromisoformat(text)
    except ValueError:
        raise Misread(f"{show(text)} is not a day such as `2027-03-01`") from None
    if day.isoformat() != text:
        raise Misread(f"{show(text)} is not written as year-month-day", day.isoformat())
    return text


DAY: Leaf[str] = Leaf("a day such as `2027-03-01`", read_day, {"type": "string", "format": "date"})
SEEN: Leaf[str] = Leaf(
    "a value, or a range such as `21.5 degC to 22.5 degC`",
    str,
    {"type": ["string", "number", "boolean"]},
)
SPAN: Leaf[str] = Leaf("a span of time such as `600 ms to 900 ms`", str, {"type": "string"})
WORDS = Many("a list of values", TITLE)
FAULT = Record(
    "a known fault",
    {
        "fault": Key(TITLE, "what is wrong, in one line; once per file", True),
        "reason": Key(TITLE, "why it is not mended yet, and what will", True),
        "reference": Key(TITLE, "where it is followed up, such as a number of your list", True),
        "plan": Key(TITLE, "the title of the plan", True),
        "case": Key(TITLE, "the title of the case, with its values in brackets", True),
        "signal": Key(PATH, "the signal whose check fails", True),
        "step": Key(WHOLE, "the step whose check fails, 0 for the precondition (any)"),
        "measure": Key(NAME, "the figure of a measure that fails, such as `settle`"),
        "value": Key(SEEN, "the value, or the range of values, that is this fault"),
        "one-of": Key(WORDS, "the labels or texts that are this fault"),
        "time": Key(SPAN, "when it is decided, counted from the stimulus (any time)"),
        "until": Key(DAY, "the last day on which it counts as known, UTC", True),
    },
    rivals=(("value", "one-of"),),
)
FAULTS = Many("a list of known faults", FAULT)
KNOWN = Record(
    "a file of known faults",
    {
        "known-faults": Key(TITLE, "the title of the file", True),
        "faults": Key(FAULTS, "the known faults; at least one", True),
    },
)
