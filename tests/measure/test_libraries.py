"""What a run needs is loaded before it begins: a late import would be the bench's own lateness."""

from pathlib import Path

from hil.files.read import read_plans, read_rack
from hil.measure.libraries import libraries

ROOT = Path(__file__).parents[2]
RACK = read_rack(ROOT / "fixtures" / "glasshouse.yaml")


def cases(name):
    return read_plans([ROOT / "testplans" / name], RACK)[0].cases


def test_only_plans_with_measures_need_them():
    assert libraries(cases("02-feed-pressure.yaml")) == frozenset()
    assert libraries(cases("16-measures.yaml")) == {"numpy", "scipy.signal", "scipy.special"}
