"""How colours look and differ: CIEDE2000, colour vision deficiencies, contrast, chromaticity.

All colour mathematics is coloraide's; it is imported when first needed.  Colours are 8-bit sRGB
codes.  Deficiencies are simulated in full (severity 1) after Machado, Oliveira and Fernandes 2009
(IEEE TVCG 15(6)), whose matrices apply to linear RGB; the result is clipped to what can be shown.
"""

from decimal import Decimal
from enum import Enum
from functools import lru_cache
from typing import TYPE_CHECKING

from hil.alarms.indicator import Rgb

if TYPE_CHECKING:
    from coloraide import Color


class Vision(Enum):
    """Whose eyes: normal, or without the long-, middle- or short-wave cones."""

    NORMAL = "normal"
    PROTAN = "protan"
    DEUTAN = "deutan"
    TRITAN = "tritan"


def read_hex(text: str) -> Rgb:
    """Read `#FFBF00` or `FFBF00`; raise ValueError for anything else.

    >>> read_hex("#FFBF00")
    (255, 191, 0)
    """
    digits = text.removeprefix("#")
    if len(digits) != 6 or any(digit not in "0123456789abcdefABCDEF" for digit in digits):
        raise ValueError(f"{text!r} is no colour of the form #RRGGBB")
    red, green, blue = bytes.fromhex(digits)
    return red, green, blue


def show_hex(rgb: Rgb) -> str:
    """Render a colour as `#RRGGBB`."""
    return "#" + bytes(rgb).hex().upper()


def linear(rgb: Rgb) -> tuple[float, float, float]:
    """Return linear RGB, 0 to 1 (IEC 61966-2-1)."""
    red, green, blue = _colour(rgb).convert("srgb-linear")[:-1]
    return red, green, blue


def as_seen(rgb: Rgb, vision: Vision) -> tuple[float, float, float]:
    """Return the encoded sRGB channels, 0 to 1, as seen with a full deficiency."""
    red, green, blue = _seen(rgb, vision).convert("srgb")[:-1]
    return red, green, blue


@lru_cache(maxsize=4096)
def difference(first: Rgb, second: Rgb, vision: Vision = Vision.NORMAL) -> float:
    """Return the CIEDE2000 difference (kL = kC = kH = 1, D65) of two colours as seen so."""
    return _seen(first, vision).delta_e(_seen(second, vision), method="2000")


def difference_lab(first: tuple[float, float, float], second: tuple[float, float, float]) -> float:
    """Return the CIEDE2000 difference of two CIELAB colours of the same white point."""
    from coloraide import Color

    return Color("lab-d65", first).delta_e(Color("lab-d65", second), method="2000")


_WCAG_WEIGHTS = (0.2126, 0.7152, 0.0722)


def luminance(rgb: Rgb) -> float:
    """Return the relative luminance, 0 to 1, by the rounded weights that WCAG 2 prints."""
    return sum(part * weight for part, weight in zip(linear(rgb), _WCAG_WEIGHTS, strict=True))


def contrast(first: Rgb, second: Rgb) -> float:
    """Return the WCAG 2 contrast ratio, 1 to 21, whichever of both is lighter; not rounded."""
    darker, lighter = sorted((luminance(first), luminance(second)))
    return (lighter + 0.05) / (darker + 0.05)


def chromaticity(rgb: Rgb) -> tuple[Decimal, Decimal]:
    """Return the CIE 1931 x and y that an ideal sRGB display shows; black has none (ValueError)."""
    if rgb == (0, 0, 0):
        raise ValueError("black has no chromaticity")
    x, y = _colour(rgb).xy()
    return Decimal(repr(float(x))), Decimal(repr(float(y)))


def within_tolerance(got: Rgb, wanted: Rgb, tolerance: int) -> bool:
    """Return whether each channel is within ± tolerance codes of the wanted one."""
    return all(abs(a - b) <= tolerance for a, b in zip(got, wanted, strict=True))


def _colour(rgb: Rgb) -> "Color":
    from coloraide import Color

    return Color("srgb", [code / 255 for code in rgb])


def _seen(rgb: Rgb, vision: Vision) -> "Color":
    colour = _colour(rgb)
    if vision is Vision.NORMAL:
        return colour
    seen = colour.filter(vision.value, 1, method="machado", space="srgb-linear")
    return seen.clip("srgb-linear")
