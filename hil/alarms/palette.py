"""Named colours: their usual RGB, their regions, and what they usually mean.

The meanings are those of the tables of IEC 60073 and IEC 60204-1 as restated in public articles
(the standards themselves were not read).  No standard gives RGB codes for signal lights: the ones
here are common practice, and a spec may state its own.

| colour | meaning             | what it asks of the operator |
|--------|---------------------|------------------------------|
| red    | emergency, danger   | act at once                  |
| yellow | abnormal, warning   | watch or step in             |
| green  | normal, safe        | nothing                      |
| blue   | mandatory           | a required action            |
| white  | neutral             | watch                        |
"""

from dataclasses import dataclass

from hil.alarms.indicator import Rgb
from hil.alarms.spec import FAULT, SILENT, STALE, Meaning, Spec


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """A named colour; `regions` are the names of its regions in hil.alarms.region."""

    rgb: Rgb
    meaning: Meaning
    regions: tuple[str, ...] = ()


_YELLOWS = ("r48_amber", "icao_yellow", "colreg_yellow")
PALETTE = {
    "red": Named(
        rgb=(255, 0, 0), meaning=Meaning.DANGER, regions=("r48_red", "icao_red", "colreg_red")
    ),
    "amber": Named(rgb=(255, 191, 0), meaning=Meaning.ABNORMAL, regions=_YELLOWS),
    "yellow": Named(
        rgb=(255, 255, 0),
        meaning=Meaning.ABNORMAL,
        regions=("icao_yellow", "colreg_yellow", "r48_selective_yellow"),
    ),
    "orange": Named(rgb=(255, 128, 0), meaning=Meaning.ABNORMAL, regions=_YELLOWS),
    "green": Named(rgb=(0, 255, 0), meaning=Meaning.NORMAL, regions=("icao_green", "colreg_green")),
    "blue": Named(rgb=(0, 0, 255), meaning=Meaning.MANDATORY, regions=("icao_blue",)),
    "white": Named(
        rgb=(255, 255, 255),
        meaning=Meaning.NEUTRAL,
        regions=("r48_white", "icao_white", "colreg_white"),
    ),
    "grey": Named(rgb=(128, 128, 128), meaning=Meaning.NEUTRAL),
    "magenta": Named(rgb=(255, 0, 255), meaning=Meaning.NEUTRAL),
    "violet": Named(rgb=(128, 0, 255), meaning=Meaning.NEUTRAL),
    "cyan": Named(rgb=(0, 255, 255), meaning=Meaning.NEUTRAL),
    "off": Named(rgb=(0, 0, 0), meaning=Meaning.NEUTRAL),
}


def rgb_of(spec: Spec, colour: str) -> Rgb | None:
    """Return the RGB of a colour name: the spec's own, else the usual one, else None."""
    for paint in spec.palette:
        if paint.name == colour:
            return paint.rgb
    named = PALETTE.get(colour)
    return named.rgb if named is not None else None


def meaning_of(spec: Spec, colour: str) -> Meaning | None:
    """Return what a colour means: as the spec states for its own paint, else as usual."""
    for paint in spec.palette:
        if paint.name == colour and paint.meaning is not None:
            return paint.meaning
    named = PALETTE.get(colour)
    return named.meaning if named is not None else None


def wanted_meanings(spec: Spec, look: str) -> tuple[Meaning, ...]:
    """Return the meanings that suit a look: normal, a first alarm, the worst, or no reading."""
    if look in (FAULT, STALE, SILENT):
        return (Meaning.MANDATORY, Meaning.NEUTRAL, Meaning.ABNORMAL)
    severity = spec.severity(look)
    if severity == 0:
        return (Meaning.NORMAL, Meaning.NEUTRAL)
    if severity == 1:
        return (Meaning.ABNORMAL, Meaning.DANGER)
    return (Meaning.DANGER,)
