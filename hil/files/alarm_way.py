"""What one indicator shows for each look: labels, text, RGB, x and y, segments, reading, blink."""

from collections.abc import Mapping
from decimal import Decimal
from typing import TypeVar

from hil.alarms.indicator import (
    Blink,
    Chromaticity,
    Cue,
    Displayed,
    How,
    Labels,
    Reading,
    RgbCodes,
    Rounding,
    Segments,
    Text,
)
from hil.alarms.palette import PALETTE
from hil.core.signal import Signal
from hil.files.alarm_sheet import Fields, Sheet
from hil.files.alarm_show_shape import (
    AS_DISPLAYED,
    BY_COLOUR,
    CUE,
    LABELS_BY_LOOK,
    RATE,
    RATES_BY_LOOK,
    READING,
    REGION,
    REGIONS_BY_LOOK,
    RGB,
    RGB_BY_LOOK,
    ROUNDING,
    ROUNDINGS,
    SPAN,
    SPANS_BY_LOOK,
    TEXTS_BY_LOOK,
)
from hil.files.alarm_text import DARK
from hil.files.leaf import TITLE, WHOLE
from hil.files.mistake import nearest, show
from hil.files.shape import Leaf, Names
from hil.files.tree import Map, Node, Scalar

T = TypeVar("T")
_MOST_CODES = 255
_MOST_DECIMALS = 9


class WayReader:
    """Reads the way in which `signal` (or the first of several) shows the looks.

    `colours` are the colours of the looks it is judged by.
    """

    def __init__(
        self,
        keys: Fields,
        place: Node,
        signal: Signal,
        colours: Mapping[str, str],
        display: Displayed | None,
        sheet: Sheet,
    ) -> None:
        self.keys = keys
        self.place = place
        self.signal = signal
        self.colours = colours
        self.display = display
        self.sheet = sheet
        self.page = sheet.page

    def read(self, way: str) -> How | None:
        """Return how it shows; what is wrong with it stands on the page."""
        node = self.keys[way]
        match way:
            case "labels":
                return self._labels(node)
            case "text":
                return Text(wanted=self._by_look(node, TEXTS_BY_LOOK, TITLE))
            case "rgb":
                return self._rgb(node)
            case "chromaticity":
                regions = self._by_look(node, REGIONS_BY_LOOK, REGION)
                names = {look: None if name == DARK else name for look, name in regions.items()}
                return Chromaticity(wanted=names)
            case "segments":
                return self._segments(node)
            case "reading":
                return self._reading(node)
        return Blink(wanted=self._by_look(node, RATES_BY_LOOK, RATE))

    def _by_look(self, node: Node, shape: Names, leaf: Leaf[T]) -> dict[str, T]:
        """Return what stands for each look; a look that is missing is the review's matter."""
        found: dict[str, T] = {}
        for key, look, value in shape.open(node, self.page):
            typed = leaf.read(value, self.page, look)
            if self.sheet.look(look, key) and typed is not None:
                found[look] = typed
        return found

    def _labels(self, node: Node) -> How:
        cue = CUE.at(self.keys, "cue", self.page) or Cue.COLOUR.value
        if isinstance(node, Scalar):
            BY_COLOUR.read(node, self.page, "labels")
            return Labels(wanted=self._colour_labels(), cue=Cue(cue))
        wanted = self._by_look(node, LABELS_BY_LOOK, TITLE)
        labels = self.signal.labels
        for look, label in wanted.items():
            if label not in labels:
                hint = nearest(label, labels) or f"one of {', '.join(labels)}"
                what = f"{self.signal.path} has no label {show(label)} for {look}"
                self.page.wrong(_value_place(node, look), what, hint)
        return Labels(wanted=wanted, cue=Cue(cue))

    def _colour_labels(self) -> dict[str, str]:
        """Let every look be shown by the label that is its colour's name."""
        labels = self.signal.labels
        for look, colour in self.colours.items():
            if colour not in labels:
                hint = nearest(colour, labels) or f"it has {', '.join(labels)}"
                what = f"{self.signal.path} cannot show {show(colour)}, the colour of {look}"
                self.page.wrong(self.place, what, hint)
        return dict(self.colours)

    def _rgb(self, node: Node) -> How:
        tolerance = WHOLE.at(self.keys, "rgb-tolerance", self.page) or 0
        if not 0 <= tolerance <= _MOST_CODES:
            self.page.wrong(self.keys["rgb-tolerance"], "rgb-tolerance: expected 0 to 255")
        if not isinstance(node, Scalar):
            return RgbCodes(wanted=self._by_look(node, RGB_BY_LOOK, RGB), tolerance=tolerance)
        BY_COLOUR.read(node, self.page, "rgb")
        paints = self.sheet.paints
        wanted = {
            look: paints[colour].rgb if colour in paints else PALETTE[colour].rgb
            for look, colour in self.colours.items()
        }
        return RgbCodes(wanted=wanted, tolerance=tolerance)

    def _segments(self, node: Node) -> How:
        wanted = self._by_look(node, SPANS_BY_LOOK, SPAN)
        low, high = self.signal.low, self.signal.high
        for look, (first, last) in wanted.items():
            if (low is not None and first < low) or (high is not None and last > high):
                what = f"{self.signal.path} shows {low} to {high} segments, not {first} to {last}"
                self.page.wrong(_value_place(node, look), f"{look}: {what}")
        return Segments(wanted=wanted)

    def _reading(self, node: Node) -> How | None:
        unit = self.sheet.signal.unit
        if self.signal.unit != unit:
            what = f"{self.signal.path} is in {self.signal.unit}, the input is in {unit}"
            self.page.wrong(self.place, what)
        keys: Fields = {}
        if isinstance(node, Scalar):
            AS_DISPLAYED.read(node, self.page, "reading")
        else:
            keys = READING.open(node, self.page) or {}
        display = self._own_display(node, keys)
        wanted = {}
        if "instead" in keys:
            wanted = self._by_look(keys["instead"], TEXTS_BY_LOOK, TITLE)
            for look in sorted(set(wanted) & set(self.sheet.bands)):
                self.page.wrong(keys["instead"], f"in the band {show(look)} there is a reading")
        tolerance = self.sheet.width(keys, "tolerance") if "tolerance" in keys else Decimal(0)
        if display is None or tolerance is None:
            return None
        return Reading(display=display, tolerance=tolerance, wanted=wanted)

    def _own_display(self, node: Node, keys: Fields) -> Displayed | None:
        display = self.display
        decimals = display.decimals if display is not None else None
        rounding = display.rounding if display is not None else None
        if "decimals" in keys:
            decimals = read_decimals(keys, self.sheet)
        if "rounding" in keys:
            rounding = read_rounding(keys, self.sheet)
        if decimals is None or rounding is None:
            what = "how many decimals, rounded in which way? neither here nor under `display`"
            self.page.wrong(node, f"reading: {what}")
            return None
        return Displayed(decimals=decimals, rounding=rounding)


def _value_place(node: Node, look: str) -> Node:
    return node.pairs[look][1] if isinstance(node, Map) else node


def read_decimals(keys: Fields, sheet: Sheet) -> int | None:
    """Return the decimals of a displayed value."""
    decimals = WHOLE.at(keys, "decimals", sheet.page)
    if decimals is not None and not 0 <= decimals <= _MOST_DECIMALS:
        sheet.page.wrong(keys["decimals"], f"decimals: expected 0 to {_MOST_DECIMALS}")
        return None
    return decimals


def read_rounding(keys: Fields, sheet: Sheet) -> Rounding | None:
    """Return the rounding of a displayed value."""
    word = ROUNDING.at(keys, "rounding", sheet.page)
    return None if word is None else ROUNDINGS[word]
