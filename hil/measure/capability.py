"""Process capability: how well a spread fits between its limits.

    Cp   (USL − LSL) / 6σ                       what it could be, if it were centred
    Cpk  min(USL − μ, μ − LSL) / 3σ             what it is
    k    |(USL + LSL)/2 − μ| / ((USL − LSL)/2)  how far off centre; Cpk = Cp·(1 − k) inside

Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6.
"""

from dataclasses import dataclass
from statistics import NormalDist


@dataclass(frozen=True, slots=True, kw_only=True)
class Capability:
    """The indices of one process between its limits; `outside` is the share beyond them."""

    cp: float
    cpk: float
    k: float
    outside: float


def capability(*, mean: float, sigma: float, low: float, high: float) -> Capability:
    """Return the indices; `outside` assumes that values are normally distributed.

    Raises ValueError where the limits leave no room or the standard deviation is not positive.
    """
    if not low < high or not sigma > 0:
        raise ValueError("capability needs low < high and a positive standard deviation")
    normal = NormalDist()
    return Capability(
        cp=(high - low) / (6 * sigma),
        cpk=min(high - mean, mean - low) / (3 * sigma),
        k=abs((high + low) / 2 - mean) / ((high - low) / 2),
        outside=normal.cdf((low - mean) / sigma) + normal.cdf((mean - high) / sigma),
    )
