"""Profiles: `ramp`, `levels`, `points`, `sine`, `chirp`."""

from decimal import Decimal

from hil.core.instant import Duration
from hil.core.signal import Signal
from hil.files.duration import read_duration
from hil.files.follow_shape import CHIRP, POINTS, PROFILES, RAMP, SINE
from hil.files.leaf import DURATION, QUANTITY, VALUE
from hil.files.mistake import Misread, Page
from hil.files.quantity import difference_in, value_in
from hil.files.shape import Leaf
from hil.files.tree import Node
from hil.measure.profile import Chirp, Points, Profile, Ramp, Recorded, Sine, Steps


def read_profile(fields: dict[str, Node], signal: Signal, page: Page) -> Profile | None:
    """Return the profile among the fields, in the signal's unit; None, with the mistakes noted."""
    words = [word for word in PROFILES if word in fields]
    if len(words) != 1:
        return None
    (word,) = words
    before = page.count
    try:
        found = _Reader(signal.unit, page).read(word, fields[word])
    except ValueError as error:
        page.wrong(fields[word], f"{word}: {error}", _EXAMPLES[word])
        return None
    return found if page.count == before else None


_EXAMPLES = {
    "ramp": "{from: 0 deg, to: 20 deg, over: 1 s}",
    "levels": "{0 s: 0 deg, 1 s: 20 deg}",
    "points": "{0 s: 0 deg, 1 s: 20 deg}",
    "sine": "{centre: 0 deg, amplitude: 20 deg, frequency: 0.5 Hz}",
    "chirp": "{centre: 0 deg, amplitude: 20 deg, from: 0.2 Hz, to: 2 Hz, over: 5 s}",
}
"""What each profile looks like."""


class _Reader:
    """Reads one profile; what could not be read counts as 1, and the page tells."""

    def __init__(self, unit: str, page: Page) -> None:
        self.unit, self.page = unit, page

    def read(self, word: str, node: Node) -> Profile | None:
        """Return it; raises ValueError where it makes no sense."""
        if word in ("levels", "points"):
            points = self._points(word, node)
            return (Steps(points) if word == "levels" else Recorded(points)) if points else None
        record = {"ramp": RAMP, "sine": SINE, "chirp": CHIRP}[word]
        fields = record.open(node, self.page)
        if fields is None or any(
            key.required and name not in fields for name, key in record.keys.items()
        ):
            return None
        if word == "ramp":
            return self._ramp(fields)
        return self._sine(fields) if word == "sine" else self._chirp(fields)

    def _ramp(self, fields: dict[str, Node]) -> Profile:
        return Ramp(
            first=self._value(fields, "from"),
            last=self._value(fields, "to"),
            duration=self._duration(fields),
        )

    def _duration(self, fields: dict[str, Node]) -> Duration:
        length = DURATION.at(fields, "over", self.page)
        return Duration(1) if length is None else length

    def _sine(self, fields: dict[str, Node]) -> Profile:
        return Sine(
            centre=self._value(fields, "centre"),
            amplitude=self._difference(fields, "amplitude", self.unit),
            frequency=self._difference(fields, "frequency", "Hz"),
            phase=self._difference(fields, "phase", "deg") if "phase" in fields else Decimal(0),
        )

    def _chirp(self, fields: dict[str, Node]) -> Profile:
        return Chirp(
            centre=self._value(fields, "centre"),
            amplitude=self._difference(fields, "amplitude", self.unit),
            first=self._difference(fields, "from", "Hz"),
            last=self._difference(fields, "to", "Hz"),
            duration=self._duration(fields),
        )

    def _points(self, word: str, node: Node) -> Points:
        points = []
        for key, text, value in POINTS.open(node, self.page):
            try:
                time = read_duration(text)
            except Misread as misread:
                self.page.wrong(key, f"{word}: {misread.what}", misread.hint)
                continue
            points.append((time, self._value({word: value}, word)))
        return tuple(points)

    def _value(self, fields: dict[str, Node], key: str) -> Decimal:
        return self._number(VALUE, fields, key, self.unit, difference=False)

    def _difference(self, fields: dict[str, Node], key: str, unit: str) -> Decimal:
        return self._number(QUANTITY, fields, key, unit, difference=True)

    def _number(
        self, leaf: Leaf[str], fields: dict[str, Node], key: str, unit: str, *, difference: bool
    ) -> Decimal:
        text = leaf.at(fields, key, self.page)
        if text is None:
            return Decimal(1)
        try:
            return difference_in(text, unit) if difference else value_in(text, unit)
        except Misread as misread:
            self.page.wrong(fields[key], f"{key}: {misread.what}", misread.hint)
            return Decimal(1)
