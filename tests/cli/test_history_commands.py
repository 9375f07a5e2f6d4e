"""`hil history` and `hil trend`, from the command line to the exit code."""

import pytest
from click.testing import CliRunner
from history.nights import about, folder_of, history, night, of

from hil.cli.main import main

NAMES = ("case", "node", "changed")


@pytest.fixture
def hil(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "reports").mkdir()

    def go(*words):
        return CliRunner().invoke(main, words)

    return go


@pytest.fixture
def kept(tmp_path, hil):
    nights = [of("pass", "fail") if n % 2 else of("pass", "pass") for n in range(8)]
    history(tmp_path / "reports", nights)
    return hil


def test_without_a_command_the_runs_are_listed(kept):
    ended = kept("history", "--last", "3")

    assert ended.exit_code == 0
    assert len(ended.output.splitlines()) == 4
    assert about(7).run in ended.output


def test_a_case_a_node_and_a_change_are_told(kept):
    case, node, changed = (
        kept("history", "case", "b"),
        kept("history", "node", "louvres"),
        kept("history", "changed"),
    )

    assert "●■●■●■●■" in case.output
    assert node.output.splitlines()[0] == "louvres  glasshouse:virtual"
    assert changed.output.startswith("glasshouse:virtual: 1 newly broken\n")


def test_two_runs_are_held_against_each_other(kept):
    same = kept("history", "changed", about(3).run, about(5).run)
    back = kept("history", "changed", about(3).run, about(4).run, "--text")

    assert "1 still broken" in same.output
    assert "FIXED (1)\n- Louvres: b\n" in back.output


def test_a_mail_is_written(kept, tmp_path):
    kept("history", "changed", "--html", "mail.html")

    assert (tmp_path / "mail.html").read_text().startswith("<!DOCTYPE html>")


def test_a_trend_is_told_and_drawn(kept, tmp_path):
    ended = kept("trend", "--case", "a", "--svg", "trend.svg")

    assert ended.exit_code == 0
    assert "margin +0.40, 8 runs" in ended.output
    assert (tmp_path / "trend.svg").read_text().startswith("<svg")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("history", "--rack", "greenhouse"), "no run of greenhouse is in the history"),
        (("history", "case", "zzz"), "no case with this text ran on glasshouse:virtual"),
        (("history", "node", "zzz"), "no node of this name"),
        (("history", "changed", "zzz"), "no run and no rack of this name"),
        (("trend", "--node", "zzz"), "no check like this has a margin"),
        (("history", "--history", "none.sqlite"), "there is no history here"),
        (
            ("history", "--history", "mysql://x/y"),
            "a history is a file, sqlite:// or postgresql://",
        ),
    ],
)
def test_what_is_not_there_is_exit_code_two(kept, words, told):
    ended = kept(*words)

    assert ended.exit_code == 2, ended.output
    assert told in ended.output


def test_a_run_is_kept_again_by_rebuild_and_not_where_nobody_wants_it(hil, tmp_path):
    folder = folder_of(tmp_path / "reports", night(("a", "pass", {})), 0)

    assert hil("rebuild", str(folder), "--no-history").exit_code == 0
    assert not (tmp_path / "reports" / "history.sqlite").exists()
    assert hil("rebuild", str(folder)).exit_code == 0
    assert about(0).run in hil("history").output


def test_a_run_that_cannot_be_kept_again_is_exit_code_five(hil, tmp_path):
    folder = folder_of(tmp_path / "reports", night(("a", "pass", {})), 0)
    (tmp_path / "letter").write_text("not a database " * 99)
    ended = hil("rebuild", str(folder), "--history", "letter")

    assert ended.exit_code == 5
    assert "the history letter is no history" in ended.output


def test_options_before_a_command_of_the_history_count_for_it(hil, tmp_path):
    folder = folder_of(tmp_path / "reports", night(("a", "pass", {})), 0)
    hil("rebuild", str(folder), "--history", "other.sqlite")
    told = hil("history", "--history", "other.sqlite", "case", "a")

    assert told.exit_code == 0, told.output
    assert told.output == hil("history", "case", "a", "--history", "other.sqlite").output
    assert (
        hil("history", "--rack", "no-such-rack", "--history", "other.sqlite", "case", "a").exit_code
        != 0
    )


def test_places_that_exclude_each_other_are_refused(hil):
    ended = hil("run", "--history", "x.sqlite", "--no-history")

    assert ended.exit_code == 2
    assert "exclude each other" in ended.output
