"""Can people tell the colours apart, and do they say what such colours usually say?

Two colours count as confusable when their CIEDE2000 difference is below 20 in normal vision or in
a full protan, deutan or tritan simulation.  No standard gives such a figure.  20 is our choice:
CIEDE2000 was made for colours side by side, lights are seen apart and one after the other, and
amber against yellow (#FFBF00, #FFFF00), which people do confuse as lights, are 19.8 apart.

A second cue (text, shape, blinking, position) that differs between both lessens the finding.
"""

from collections.abc import Iterator
from itertools import pairwise

from hil.alarms.colour import Vision, difference, show_hex
from hil.alarms.finding import Finding
from hil.alarms.indicator import Cue, Indicator, Labels, Reading, Rgb, RgbCodes, cue
from hil.alarms.palette import PALETTE, meaning_of, rgb_of, wanted_meanings
from hil.alarms.review.scope import Scope
from hil.alarms.spec import FAULT, SILENT, SPECIAL, STALE, START_UP, Spec
from hil.core.error import Mark

CONFUSABLE_BELOW = 20.0


def findings(scope: Scope) -> Iterator[Finding]:
    """Return colours without a meaning, with another one, and looks that people confuse."""
    spec = scope.spec
    yield from _unknown(spec)
    yield from _meanings(spec)
    for lower, upper in pairwise(band.name for band in spec.bands):
        yield from _adjacent(scope, lower, upper)
    for look in (FAULT, STALE, SILENT):
        yield from _missing_reading(scope, look)
    for indicator in spec.indicators:
        yield from _other_colour(spec, indicator)


def seen_as(spec: Spec, look: str) -> Rgb | None:
    """Return the colour of a look: as an indicator's RGB says, else as its name says."""
    for indicator in spec.indicators:
        if isinstance(indicator.how, RgbCodes) and look in indicator.how.wanted:
            return indicator.how.wanted[look]
    return rgb_of(spec, spec.colour(look))


def second_cues(spec: Spec, first: str, second: str) -> tuple[str, ...]:
    """Return the cues beside colour that tell two looks apart, in words.

    A plain reading is no cue between bands, but a missing one is.
    """
    found = set()
    for indicator in spec.indicators:
        how = indicator.how
        if first in indicator.not_judged or second in indicator.not_judged:
            continue
        if isinstance(how, Reading):
            if (first in SPECIAL) is not (second in SPECIAL):
                found.add(Cue.TEXT)
        elif how.wanted.get(first) != how.wanted.get(second):
            found.add(cue(how) or Cue.COLOUR)
    return tuple(sorted(one.value for one in found - {Cue.COLOUR}))


def worst_vision(first: Rgb, second: Rgb) -> tuple[float, Vision]:
    """Return the smallest difference of two colours in the four visions, and in which."""
    return min(
        ((difference(first, second, vision), vision) for vision in Vision), key=lambda pair: pair[0]
    )


def _unknown(spec: Spec) -> Iterator[Finding]:
    for look in spec.looks():
        colour = spec.colour(look)
        if seen_as(spec, look) is None:
            known = ", ".join(PALETTE)
            yield Finding(
                code="AL-510",
                mark=_mark(spec, look),
                where=(look,),
                why=f"{colour}, the colour of {look}, is not known, so it cannot be compared",
                advice=f"state its RGB, or use one of {known}",
            )


def _meanings(spec: Spec) -> Iterator[Finding]:
    for look in spec.looks():
        meaning = meaning_of(spec, spec.colour(look))
        wanted = () if look == START_UP else wanted_meanings(spec, look)
        if meaning is None or not wanted or meaning in wanted:
            continue
        part = look if look in SPECIAL else f"{look} ({_place_in_words(spec, look)})"
        usual = " or ".join(one.value for one in wanted)
        yield Finding(
            code="AL-504",
            mark=_mark(spec, look),
            where=(look,),
            why=f"{spec.colour(look)} usually means {meaning.value} (IEC 60073, IEC 60204-1), and "
            f"{part} is rather: {usual}",
            advice="choose the usual colour, or accept it with a reason",
        )


def _place_in_words(spec: Spec, name: str) -> str:
    severity = spec.severity(name)
    return "the normal band" if severity == 0 else f"{severity} from normal"


def _adjacent(scope: Scope, lower: str, upper: str) -> Iterator[Finding]:
    spec = scope.spec
    first, second = seen_as(spec, lower), seen_as(spec, upper)
    if first is None or second is None:
        return
    cues = second_cues(spec, lower, upper)
    gap, vision = worst_vision(first, second)
    pair = f"{lower} ({show_hex(first)}) and {upper} ({show_hex(second)})"
    if first == second:
        code, why = "AL-501", f"{pair} look the same, and nothing else tells them apart"
        if cues:
            return
    elif gap >= CONFUSABLE_BELOW:
        return
    else:
        code = "AL-503" if cues else "AL-502"
        eyes = "in normal vision" if vision is Vision.NORMAL else f"for {vision.value} vision"
        verb = "help" if len(cues) > 1 else "helps"
        only = f"; {' and '.join(cues)} {verb}" if cues else ", and colour is the only cue"
        why = f"{pair} differ by {gap:.1f} (CIEDE2000) {eyes}, less than 20{only}"
    yield Finding(
        code=code,
        mark=_mark(spec, upper),
        where=(lower, upper),
        why=why,
        advice="add a text, a shape, blinking or a position, or choose colours further apart",
    )


def _missing_reading(scope: Scope, look: str) -> Iterator[Finding]:
    spec = scope.spec
    own = seen_as(spec, look)
    for band in spec.bands:
        other = seen_as(spec, band.name)
        if own is None or other is None or second_cues(spec, look, band.name):
            continue
        if difference(own, other) < CONFUSABLE_BELOW:
            yield Finding(
                code="AL-507",
                mark=spec.no_reading.mark,
                where=(look, band.name),
                why=f"{look} is shown in {spec.colour(look)}, as {band.name} is: a missing reading "
                "must count neither as normal nor as alarm",
                advice="give it a colour of its own, or a second cue",
            )


def _other_colour(spec: Spec, indicator: Indicator) -> Iterator[Finding]:
    how = indicator.how
    if not isinstance(how, Labels) or how.cue is not Cue.COLOUR:
        return
    for look, label in how.wanted.items():
        if look not in spec.looks() or label not in PALETTE or label == spec.colour(look):
            continue
        yield Finding(
            code="AL-509",
            mark=indicator.mark,
            where=(look, *indicator.signals),
            why=f"{indicator.signals[0]} shows {label} for {look}, which is {spec.colour(look)}",
            advice="let the indicator show the band's colour, or accept it with a reason",
        )


def _mark(spec: Spec, look: str) -> Mark:
    if look == START_UP:
        return spec.start_up.mark
    return spec.no_reading.mark if look in SPECIAL else spec.bands[spec.place(look)].mark
