"""Exit codes by the table."""

import pytest
from report.runs import result, run

from hil.report.exit_code import TABLE, exit_code, meaning, signal_number
from hil.report.tally import fold


@pytest.mark.parametrize(
    ("code", "outcomes"),
    [
        (0, ["pass"]),
        (0, ["pass", "skipped"]),
        (1, ["pass", "fail"]),
        (1, ["unstable"]),
        (2, []),
        (2, ["skipped", "skipped"]),
        (3, ["inconclusive"]),
        (3, ["error"]),
        (3, ["pass", "not run"]),
        (3, ["fail", "inconclusive", "pass"]),
    ],
)
def test_outcomes_have_their_code(code, outcomes):
    assert code == exit_code(result(*outcomes))


def test_a_rack_that_is_not_safe_is_the_benchs_matter():
    assert exit_code(result("pass", safe=False)) == 3


def test_the_highest_number_wins():
    assert exit_code(result("fail"), bug=True) == 4
    assert exit_code(result("fail"), bug=True, store_fault=True) == 5
    assert exit_code(result("fail", aborted="ended by SIGTERM"), store_fault=True) == 143


@pytest.mark.parametrize(
    ("reason", "number"),
    [
        ("ended by SIGINT", 2),
        ("ended by SIGTERM", 15),
        ("ended by SIGHUP, and again", 1),
        ("mast is not the node it must be: serial GH-9", None),
        ("", None),
    ],
)
def test_a_signal_is_known_by_its_name(reason, number):
    assert number == signal_number(reason)


def test_an_end_that_no_signal_brought_is_no_signal():
    assert exit_code(result("error", aborted="mast is not the node it must be: x")) == 3


def test_a_run_that_had_to_end_proves_nothing_though_all_cases_passed():
    assert exit_code(result("pass", aborted="second coordinator: x rose from 0 to 1")) == 3


def test_a_killed_run_is_never_a_success():
    assert exit_code(fold(run("pass")[:-1])) == 3


def test_every_code_has_a_meaning():
    assert [row.meaning for row in TABLE[:-1]] == [meaning(code) for code in range(6)]
    assert meaning(143) == "stopped by SIGTERM"
