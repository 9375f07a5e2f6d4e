"""What a counter of bus faults means, by its name; PHYs, drivers and nodes name them as they like.

The meanings are those of a PHY vendor's PLCA diagnostics pages: a frame received in the own turn, a
collision while sending in it, a beacon that nobody should send, a beacon before the own turn.
"""

import re
from typing import NamedTuple


class Meaning(NamedTuple):
    """What a rise says; `ends` tells that no verdict is worth anything from then on."""

    says: str
    ends: bool = False


UNEXPECTED_BEACON = Meaning("somebody else sends beacons: there is a second coordinator", True)

_BEACON = r"(?:beacons?|bcn)"
_MEANINGS = (
    (rf"unexp\w*[-_. ]*{_BEACON}|{_BEACON}[-_. ]*unexp", UNEXPECTED_BEACON),
    (rf"{_BEACON}[-_. ]*(?:before|early)", Meaning("the node count is no larger than its PLCA id")),
    (
        r"own[-_. ]*(?:slot|turn|to\b|transmit)",
        Meaning("another PHY sends in its turn: a PLCA id is given twice"),
    ),
    (
        r"coll(?:ision)?s?\b|collision",
        Meaning("two sent at once: a PLCA id is given twice, or a PHY has PLCA off"),
    ),
    (
        r"crc|fcs|symbol|frame_err",
        Meaning("frames come garbled: look at terminations, stubs and supply"),
    ),
)
_KNOWN = tuple((re.compile(words, re.IGNORECASE), meaning) for words, meaning in _MEANINGS)


def meaning(counter: str) -> Meaning | None:
    """Return what a counter's rise says; None where its name does not tell."""
    return next((meaning for words, meaning in _KNOWN if words.search(counter)), None)
