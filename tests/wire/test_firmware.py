"""Firmware versions compare part by part."""

import pytest

from hil.wire.firmware import requirement_problem, satisfies, version_key


@pytest.mark.parametrize(
    ("version", "requirement", "fits"),
    [
        ("1.1", "1.10", False),
        ("1.10", "1.10", True),
        ("1.9", ">= 1.10", False),
        ("1.10.1", ">= 1.10", True),
        ("1.10", "> 1.9", True),
        ("1.10", "<= 1.10", True),
        ("1.10", "< 1.10", False),
        ("2.0", ">= 1.4, < 2", False),
        ("1.10-rc1", ">= 1.10", False),
        ("", ">= 1", False),
        ("anything", "", True),
    ],
)
def test_requirement_is_met_or_not(version, requirement, fits):
    assert fits is satisfies(version, requirement)


def test_versions_are_ordered_by_their_parts():
    shuffled = ["2", "1.10", "1.9", "1.10.1", "1.10-rc1", "1.11"]

    assert sorted(shuffled, key=version_key) == ["1.9", "1.10-rc1", "1.10", "1.10.1", "1.11", "2"]


@pytest.mark.parametrize("text", ["1.10", ">= 1.4", "= 2", ">=1, < 2.0-rc1"])
def test_good_requirements_have_no_problem(text):
    assert requirement_problem(text) == ""


@pytest.mark.parametrize("text", ["", "~ 1.4", ">=", ">= 1,"])
def test_bad_requirements_are_told(text):
    assert "is no version requirement" in requirement_problem(text)
