"""The printed edges and corners of signal colours.

    r48      UN Regulation No. 48, paragraph 2.29
    icao     ICAO Annex 14 volume I, appendix 1, 2.1.1
    colreg   33 CFR 84.13 (COLREG annex I, section 7)

The first letter of an edge says what it keeps: `y <= ...` keeps what lies below.
"""

from decimal import Decimal

from hil.alarms.region import Line, Origin, Point, Region

R48 = "UN R48 2.29"
ICAO = "ICAO Annex 14 vol. I app. 1"
COLREG = "33 CFR 84.13"


def _y_below(offset: str, slope: str = "0") -> Line:
    """y <= offset + slope x."""
    return Line(Decimal(slope), Decimal(-1), Decimal(offset), f"y <= {offset} + {slope} x")


def _y_above(offset: str, slope: str = "0") -> Line:
    """y >= offset + slope x."""
    line = _y_below(offset, slope)
    return Line(-line.a, -line.b, -line.c, f"y >= {offset} + {slope} x")


def _x_below(offset: str, slope: str = "0") -> Line:
    """x <= offset + slope y."""
    return Line(Decimal(-1), Decimal(slope), Decimal(offset), f"x <= {offset} + {slope} y")


def _x_above(offset: str, slope: str = "0") -> Line:
    """x >= offset + slope y."""
    line = _x_below(offset, slope)
    return Line(-line.a, -line.b, -line.c, f"x >= {offset} + {slope} y")


def _all(*lines: Line | tuple[Line, ...]) -> tuple[tuple[Line, ...], ...]:
    return tuple(line if isinstance(line, tuple) else (line,) for line in lines)


def _walk(*corners: tuple[str, str]) -> tuple[Point, ...]:
    return tuple((Decimal(x), Decimal(y)) for x, y in corners)


# y >= min(0.382, 0.050 + 0.750 x): one of both is enough
_WHITE_BELOW = (_y_above("0.382"), _y_above("0.050", "0.750"))

_REGIONS = (
    Region(
        name="r48_white",
        standard=R48,
        colour="white",
        clauses=_all(
            _y_below("0.150", "0.640"),
            _y_below("0.440"),
            _x_below("0.500"),
            _WHITE_BELOW,
            _x_above("0.310"),
        ),
    ),
    Region(
        name="r48_selective_yellow",
        standard=R48,
        colour="yellow",
        clauses=_all(
            _y_below("-0.100", "1.290"),
            _y_above("0.138", "0.580"),
            _y_above("0.440"),
            _y_above("0.940", "-1"),
        ),
        locus=True,
    ),
    Region(
        name="r48_amber",
        standard=R48,
        colour="amber",
        clauses=_all(_y_below("-0.120", "1"), _y_above("0.390"), _y_above("0.790", "-0.670")),
        locus=True,
    ),
    Region(
        name="r48_red",
        standard=R48,
        colour="red",
        clauses=_all(_y_below("0.335"), _y_above("0.980", "-1")),
        locus=True,
    ),
    Region(
        name="icao_red",
        standard=ICAO,
        colour="red",
        clauses=_all(_y_below("0.335"), _y_above("0.980", "-1")),
        locus=True,
    ),
    Region(
        name="icao_yellow",
        standard=ICAO,
        colour="amber",
        clauses=_all(_y_above("0.382"), _y_above("0.790", "-0.667"), _y_below("-0.120", "1")),
        locus=True,
    ),
    Region(
        name="icao_green",
        standard=ICAO,
        colour="green",
        clauses=_all(
            _x_below("0.360", "-0.080"), _x_below("0", "0.650"), _y_above("0.390", "-0.171")
        ),
        locus=True,
    ),
    Region(
        name="icao_blue",
        standard=ICAO,
        colour="blue",
        clauses=_all(
            _y_below("0.065", "0.805"), _y_below("0.400", "-1"), _x_below("0.133", "0.600")
        ),
        locus=True,
    ),
    Region(
        name="icao_white",
        standard=ICAO,
        colour="white",
        clauses=_all(
            _x_below("0.500"),
            _x_above("0.285"),
            _y_below("0.440"),  # this and the three below: from memory
            _y_below("0.150", "0.640"),
            _WHITE_BELOW,
        ),
        origin=Origin.MEMORY,
    ),
    Region(
        name="colreg_white",
        standard=COLREG,
        colour="white",
        corners=_walk(
            ("0.525", "0.382"),
            ("0.525", "0.440"),
            ("0.452", "0.440"),
            ("0.310", "0.348"),
            ("0.310", "0.283"),
            ("0.443", "0.382"),
        ),
    ),
    Region(
        name="colreg_green",
        standard=COLREG,
        colour="green",
        corners=_walk(
            ("0.028", "0.385"), ("0.009", "0.723"), ("0.300", "0.511"), ("0.203", "0.356")
        ),
    ),
    Region(
        name="colreg_yellow",
        standard=COLREG,
        colour="amber",
        corners=_walk(
            ("0.612", "0.382"), ("0.618", "0.382"), ("0.575", "0.425"), ("0.575", "0.406")
        ),
    ),
    Region(
        name="colreg_red",  # printed 0.680, 0.660, ...: that order crosses itself when walked
        standard=COLREG,
        colour="red",
        corners=_walk(
            ("0.660", "0.320"), ("0.680", "0.320"), ("0.735", "0.265"), ("0.721", "0.259")
        ),
    ),
)

REGIONS = {region.name: region for region in _REGIONS}
"""Every region by its name.  Those of SAE J578 are left out: their source could not be read."""
