"""Intervals of proportions: what k passes of n say about the true share p.

    exact (Clopper–Pearson)   lower = B(α/2; k, n − k + 1)    upper = B(1 − α/2; k + 1, n − k)
    Wilson                    (k + z²/2 ± z·√(k(n − k)/n + z²/4)) / (n + z²)
    Newcombe (difference)     Wilson limits of either share, squared and added (method 10)
    no failure in n           upper limit of the failure rate 1 − (1 − c)^(1/n), about 3/n for 95 %

Sources: Clopper and Pearson 1934; NIST/SEMATECH e-Handbook 7.2.4.1; Newcombe 1998, Statistics in
Medicine 17, 857–872 and 873–890.  Exact means: it covers at least as often as it says, always.
"""

import decimal
import math
from decimal import Decimal

_LONG = decimal.Context(prec=60)


def clopper_pearson(passes: int, trials: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return the exact two-sided interval of a proportion."""
    _check(passes, trials, confidence)
    side = (1 + confidence) / 2
    return lower_bound(passes, trials, side), upper_bound(passes, trials, side)


def lower_bound(passes: int, trials: int, confidence: float = 0.95) -> float:
    """Return the exact one-sided lower limit: the share is at least this, with the confidence."""
    from scipy.special import betaincinv

    _check(passes, trials, confidence)
    if passes == 0:
        return 0.0
    return float(betaincinv(passes, trials - passes + 1, 1 - confidence))


def upper_bound(passes: int, trials: int, confidence: float = 0.95) -> float:
    """Return the exact one-sided upper limit: the share is at most this, with the confidence."""
    from scipy.special import betainccinv

    _check(passes, trials, confidence)
    if passes == trials:
        return 1.0
    return float(betainccinv(passes + 1, trials - passes, 1 - confidence))


def wilson(passes: int, trials: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return Wilson's two-sided score interval, without continuity correction."""
    _check(passes, trials, confidence)
    z = _normal_quantile((1 + confidence) / 2)
    centre = passes + z * z / 2
    spread = z * math.sqrt(passes * (trials - passes) / trials + z * z / 4)
    low = 0.0 if passes == 0 else (centre - spread) / (trials + z * z)
    high = 1.0 if passes == trials else (centre + spread) / (trials + z * z)
    return low, high


def newcombe(
    first: tuple[int, int], second: tuple[int, int], confidence: float = 0.95
) -> tuple[float, float]:
    """Return the interval of the first share minus the second, each given as (passes, trials)."""
    share, other = first[0] / first[1], second[0] / second[1]
    low, high = wilson(*first, confidence)
    other_low, other_high = wilson(*second, confidence)
    difference = share - other
    return (
        difference - math.hypot(share - low, other_high - other),
        difference + math.hypot(high - share, other - other_low),
    )


def rule_of_three(trials: int) -> float:
    """Return the 95 % upper limit of the failure rate after no failure in n, about 3/n."""
    return min(1.0, 3 / trials)


def zero_failure_bound(trials: int, confidence: float = 0.95) -> float:
    """Return the exact upper limit of the failure rate after no failure: 1 − (1 − c)^(1/n)."""
    _check(trials, trials, confidence)
    return -math.expm1(math.log1p(-confidence) / trials)


def zero_failure_trials(reliability: Decimal, confidence: Decimal) -> int:
    """Return the smallest n whose n passes show the reliability: 1 − Rⁿ ≥ C (success run)."""
    if not (0 < reliability < 1 and 0 < confidence < 1):
        raise ValueError("reliability and confidence lie between 0 and 1")
    doubt = _LONG.subtract(Decimal(1), confidence)
    ratio = _LONG.divide(_LONG.ln(doubt), _LONG.ln(reliability))
    trials = max(1, int(ratio.to_integral_value(decimal.ROUND_FLOOR)) - 1)
    while _LONG.power(reliability, trials) > doubt:
        trials += 1
    return trials


def _check(passes: int, trials: int, confidence: float) -> None:
    if trials < 1 or not 0 <= passes <= trials:
        raise ValueError(f"{passes} passes of {trials} trials")
    if not 0 < confidence < 1:
        raise ValueError("a confidence lies between 0 and 1")


def _normal_quantile(probability: float) -> float:
    from scipy.special import ndtri

    return float(ndtri(probability))
