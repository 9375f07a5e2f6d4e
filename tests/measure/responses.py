"""Responses with known truth, for the tests of this folder."""

import numpy as np

SECOND = 1_000_000_000


def second_order(t, zeta, wn):
    """Return the unit step response of wn² / (s² + 2 zeta wn s + wn²), 0 before t = 0."""
    t = np.asarray(t, dtype=float)
    late = np.maximum(t, 0)
    if zeta == 1:
        body = 1 - np.exp(-wn * late) * (1 + wn * late)
    elif zeta > 1:
        root = wn * np.sqrt(zeta * zeta - 1)
        slow, fast = zeta * wn - root, zeta * wn + root
        body = 1 - (fast * np.exp(-slow * late) - slow * np.exp(-fast * late)) / (fast - slow)
    else:
        wd = wn * np.sqrt(1 - zeta * zeta)
        swing = np.cos(wd * late) + zeta * wn / wd * np.sin(wd * late)
        body = 1 - np.exp(-zeta * wn * late) * swing
    return np.where(t > 0, body, 0.0)


def first_order(t, tau):
    """Return the unit step response of 1 / (tau s + 1), 0 before t = 0."""
    return 1 - np.exp(-np.maximum(np.asarray(t, dtype=float), 0) / tau)


def regular(begin, end, count):
    """Return `count` instants from begin to end, in seconds given, in nanoseconds returned."""
    return np.linspace(begin * SECOND, end * SECOND, count).round().astype(np.int64)


def irregular(begin, end, count, seed):
    """Return `count` sorted instants of chance between begin and end, the ends among them."""
    chance = np.random.default_rng(seed)
    inner = np.sort(chance.uniform(begin * SECOND, end * SECOND, count - 2))
    return np.concatenate(([begin * SECOND], inner, [end * SECOND])).round().astype(np.int64)


def holds(span, seconds):
    """Whether a span in nanoseconds holds a time in seconds, to the nanosecond."""
    return span.first - 1 <= seconds * SECOND <= span.last + 1
