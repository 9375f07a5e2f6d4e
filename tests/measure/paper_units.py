"""A handful of units for the tests of relations, exact by definition (SI brochure)."""

from fractions import Fraction

from hil.measure.dimension import Units

TABLE = {
    "bar": ("pressure", 100_000, 0),
    "hPa": ("pressure", 100, 0),
    "Pa": ("pressure", 1, 0),
    "m": ("length", 1, 0),
    "mm": ("length", Fraction(1, 1000), 0),
    "s": ("time", 1, 0),
    "ms": ("time", Fraction(1, 1000), 0),
    "m/s": ("length*time^-1", 1, 0),
    "kn": (
        "length*time^-1",
        Fraction(1852, 3600),
        0,
    ),  # 1852 m/h: SI Brochure, 8th ed., table 8 (from memory)
    "m^2": ("length^2", 1, 0),
    "deg": ("angle", 1, 0),
    "deg/s": ("angle*time^-1", 1, 0),
    "turn": ("angle", 360, 0),
    "K": ("temperature", 1, 0),
    "°C": ("temperature", 1, Fraction(27315, 100)),
    "°F": ("temperature", Fraction(5, 9), Fraction(45967, 180)),
    "%": ("", Fraction(1, 100), 0),
    "count": ("count", 1, 0),
}


def _entry(unit):
    if unit not in TABLE:
        raise ValueError(f"no unit {unit}")
    return TABLE[unit]


UNITS = Units(
    dimension_of=lambda unit: _entry(unit)[0],
    factor=lambda unit: _entry(unit)[1],
    offset=lambda unit: _entry(unit)[2],
)

SIGNALS = {
    "feedline.pressure": "bar",
    "console.feed-reading": "bar",
    "mast.barometer": "hPa",
    "mast.temperature": "°C",
    "room.temperature": "°C",
    "room.warmth": "°F",
    "cold.absolute": "K",
    "louvres.vane-1.angle": "deg",
    "sun.x": "m",
    "sun.y": "m",
    "cistern.depth": "mm",
    "cistern.area": "m^2",
    "cart.speed": "m/s",
    "cart.time": "ms",
    "tile.a": "",
    "tile.b": "",
    "pump.share": "%",
}
