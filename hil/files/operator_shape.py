"""The shape of a bench file's `operator`: what the bench does, or looks at, instead of a person."""

from hil.files.plan_shape import PRECONDITIONS, STIMULI
from hil.files.scalar import read_title
from hil.files.shape import Either, Key, Names, Record

ANY_PATTERN = "."
ACTS = Names("actions with what is driven instead", STIMULI, read_title, ANY_PATTERN)
LOOKS = Names(
    "questions with what must be seen for a yes",
    Either((STIMULI, PRECONDITIONS)),
    read_title,
    ANY_PATTERN,
)
OPERATOR = Record(
    "an operator",
    {
        "acts": Key(ACTS, "actions, as plans word them, with what is driven instead"),
        "looks": Key(LOOKS, "questions, as plans word them, with what must be seen for a yes"),
    },
)
