"""Which SenML units mean the unit of a signal."""

from hil.files.mistake import Misread
from hil.files.unit import read_unit

NAMES = {
    "m": "m",
    "kg": "kg",
    "g": "g",
    "s": "s",
    "A": "A",
    "K": "K",
    "cd": "cd",
    "mol": "mol",
    "Hz": "Hz",
    "rad": "rad",
    "sr": "sr",
    "N": "N",
    "Pa": "Pa",
    "J": "J",
    "W": "W",
    "C": "C",
    "V": "V",
    "F": "F",
    "Ohm": "ohm",
    "S": "S",
    "Wb": "Wb",
    "T": "T",
    "H": "H",
    "Cel": "degC",
    "lm": "lm",
    "lx": "lx",
    "m2": "m^2",
    "m3": "m^3",
    "l": "l",
    "m/s": "m/s",
    "m/s2": "m/s^2",
    "m3/s": "m^3/s",
    "l/s": "l/s",
    "W/m2": "W/m^2",
    "cd/m2": "cd/m^2",
    "bit": "bit",
    "bit/s": "bit/s",
    "lat": "deg",
    "lon": "deg",
    "pH": "pH",
    "dB": "dB",
    "count": "count",
    "/": "fraction",
    "%": "%",
    "%RH": "%",
    "%EL": "%",
    "1/s": "1/s",
    "1/min": "1/min",
    "beat/min": "1/min",
    "S/m": "S/m",
}
"""Units of the SenML registry (RFC 8428 §12.1, table 8) by the names they have in a bench file."""


def senml_units(unit: str) -> tuple[str, ...]:
    """Return the SenML units that mean exactly this unit; none where the registry has none.

    >>> senml_units("degC")
    ('Cel',)
    """
    try:
        wanted = read_unit(unit)
    except Misread:
        return ()
    found = []
    for name, own in NAMES.items():
        one = read_unit(own)
        same = (one.dimension, one.factor, one.offset) == (
            wanted.dimension,
            wanted.factor,
            wanted.offset,
        )
        if same:
            found.append(name)
    return tuple(found)
