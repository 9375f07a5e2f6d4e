"""Which of two notifications is the newer one (RFC 7641 §3.4).

The number in the Observe option has 24 bits and begins again at 0.  V1 and T1 belong to the
newest so far, V2 and T2 to the one in hand, which is newer when

    (V1 < V2 and V2 - V1 < 2^23) or (V1 > V2 and V1 - V2 > 2^23) or (T2 > T1 + 128 s)
"""

from hil.core.instant import SECOND, Duration, Instant, show_duration

HALF = 1 << 23
FORGIVEN = Duration(128 * SECOND)


def is_newer(newest: int, newest_at: Instant, number: int, at: Instant) -> bool:
    """Return whether a notification is newer than the newest so far."""
    if at > newest_at + FORGIVEN:
        return True
    if newest < number:
        return number - newest < HALF
    return newest - number > HALF


class Ordering:
    """The newest notification so far of one subscription."""

    __slots__ = ("at", "number")

    def __init__(self) -> None:
        self.number: int | None = None
        self.at = Instant(0)

    def take(self, number: int, at: Instant, anew: bool = False) -> str:
        """Take in a notification; return an empty text, or why it is not to be used.

        `anew` is for the answer to a registration: it is as new as can be, and a node that has
        restarted may count from anywhere.
        """
        newest = self.number
        if newest is not None and not anew and not is_newer(newest, self.at, number, at):
            return self._objection(newest, number, at)
        self.number, self.at = number, at
        return ""

    def _objection(self, newest: int, number: int, at: Instant) -> str:
        later = show_duration(Duration(at - self.at))
        if number == newest:
            return f"a second notification numbered {number}, {later} after the first"
        text = f"notification {number} came {later} after {newest}, which is newer by its number"
        for bits in (8, 16):
            span = 1 << bits
            if number < newest < span and newest - number > span // 2:
                return f"{text}; does the node wrap at {bits} bits?"
        return text
