"""The shape of a step's `ask`: what only a person can do or see."""

from hil.files.leaf import DURATION, TITLE, words
from hil.files.shape import Key, Record

ANSWER = words("yes", "no")
ASK = Record(
    "an ask",
    {
        "act": Key(TITLE, "what a person is to do: `cover the light sensor`"),
        "look": Key(TITLE, "what a person is to look at, as a question: `is the disc green?`"),
        "within": Key(DURATION, "how long there is for an answer", True),
        "answer": Key(ANSWER, "the answer to a look that passes (yes)"),
    },
    choices=(("act", "look"),),
    goes_with={"answer": ("look",)},
)
