"""The units that racks use every day, so that reading them needs no units library.

Importing pint and building its registry takes half of the time in which a command starts, and nearly
every bench file is content with these.  Whatever is not here is looked up in pint as before; a test
compares every row with what pint says, in dimension, factor and offset, to the last digit.

The rows stand by dimension, in base units (kilogram, meter, second, ampere, kelvin, candela; angles
in radian, bit and count alone).  A factor is a whole number, a decimal or a fraction, and may be a
multiple of π.
"""

from fractions import Fraction

PI = Fraction("3.1415926535897932384626433832795028841971693993751")
"""As many digits as pint has, so that angles of both sources agree exactly."""

_PRESSURE = "kilogram meter^-1 second^-2"
_VOLTAGE = "kilogram meter^2 second^-3 ampere^-1"
_POWER = "kilogram meter^2 second^-3"

LINEAR = {
    "": {"fraction": "1", "%": "0.01", "ppm": "0.000001"},
    "count": {"count": "1"},
    "radian": {"rad": "1", "deg": "1/180 π", "°": "1/180 π", "turn": "2 π", "rev": "2 π"},
    "radian second^-1": {
        "rad/s": "1",
        "deg/s": "1/180 π",
        "°/s": "1/180 π",
        "deg/min": "1/10800 π",
        "rpm": "1/30 π",
    },
    "second": {
        "ns": "0.000000001",
        "us": "0.000001",
        "µs": "0.000001",
        "ms": "0.001",
        "s": "1",
        "min": "60",
        "h": "3600",
    },
    "second^-1": {
        "%/s": "0.01",
        "1/min": "1/60",
        "1/s": "1",
        "Hz": "1",
        "kHz": "1000",
        "MHz": "1000000",
    },
    "kelvin": {"K": "1"},
    "kelvin second^-1": {"K/s": "1", "degC/s": "1", "°C/s": "1", "K/min": "1/60"},
    _PRESSURE: {
        "Pa": "1",
        "hPa": "100",
        "mbar": "100",
        "kPa": "1000",
        "bar": "100000",
        "MPa": "1000000",
        "psi": "8896443230521/1290320000",
    },
    "kilogram meter^-1 second^-3": {"Pa/s": "1", "kPa/s": "1000", "bar/s": "100000"},
    "meter": {"um": "0.000001", "µm": "0.000001", "mm": "0.001", "cm": "0.01", "m": "1"},
    "meter second^-1": {"mm/s": "0.001", "m/s": "1", "km/h": "5/18"},
    "meter second^-2": {"m/s^2": "1"},
    "meter^2": {"m^2": "1"},
    "meter^3": {"ml": "0.000001", "mL": "0.000001", "l": "0.001", "L": "0.001", "m^3": "1"},
    "meter^3 second^-1": {
        "ml/min": "1/60000000",
        "mL/min": "1/60000000",
        "l/min": "1/60000",
        "L/min": "1/60000",
        "l/h": "1/3600000",
        "L/h": "1/3600000",
        "l/s": "0.001",
        "m^3/s": "1",
    },
    "kilogram": {"mg": "0.000001", "g": "0.001", "kg": "1"},
    "kilogram meter second^-2": {"mN": "0.001", "N": "1", "kN": "1000"},
    "ampere": {"uA": "0.000001", "µA": "0.000001", "mA": "0.001", "A": "1"},
    _VOLTAGE: {"uV": "0.000001", "µV": "0.000001", "mV": "0.001", "V": "1", "kV": "1000"},
    _POWER: {"mW": "0.001", "W": "1", "kW": "1000"},
    "kilogram second^-3": {"W/m^2": "1"},
    "kilogram meter^2 second^-2": {"J": "1"},
    "kilogram meter^2 second^-3 ampere^-2": {"ohm": "1", "kohm": "1000"},
    "ampere^2 second^3 kilogram^-1 meter^-2": {"S": "1"},
    "ampere^2 second^3 kilogram^-1 meter^-3": {"S/m": "1"},
    "ampere second": {"C": "1"},
    "ampere^2 second^4 kilogram^-1 meter^-2": {"F": "1"},
    "kilogram meter^2 second^-2 ampere^-2": {"H": "1"},
    "kilogram second^-2 ampere^-1": {"T": "1"},
    "kilogram meter^2 second^-2 ampere^-1": {"Wb": "1"},
    "mole": {"mol": "1"},
    "candela": {"cd": "1"},
    "candela meter^-2": {"cd/m^2": "1"},
    "radian^2": {"sr": "1"},
    "candela radian^2": {"lm": "1"},
    "candela radian^2 meter^-2": {"lx": "1", "klx": "1000"},
    "bit": {"bit": "1"},
    "bit second^-1": {"bit/s": "1", "kbit/s": "1000", "Mbit/s": "1000000"},
}
"""By dimension: each unit and what it is worth in base units."""

WITH_OFFSET = {
    "kelvin": {
        "degC": ("1", "273.15"),
        "°C": ("1", "273.15"),
        "degF": ("5/9", "45967/180"),
        "°F": ("5/9", "45967/180"),
    },
}
DIFFERENCES = {"kelvin": {"delta_degC": "1", "delta_degF": "5/9"}}


def powers(dimension: str) -> frozenset[tuple[str, Fraction]]:
    """Return `kilogram meter^-1` as pairs of base unit and power."""
    pairs = (part.partition("^") for part in dimension.split())
    return frozenset((name, Fraction(power or "1")) for name, _, power in pairs)


def factor(text: str) -> Fraction:
    """Return a factor of the tables as an exact number."""
    number, _, pi = text.partition(" ")
    return Fraction(number) * PI if pi else Fraction(number)
