"""`hil sheet`, from the command line to the exit code."""

import pytest
from click.testing import CliRunner
from report.page_run import journalled
from report.runs import ABOUT, run

from hil.cli.main import main
from hil.report.about import write_about


@pytest.fixture
def sheet(tmp_path):
    def go(*outcomes):
        journalled(tmp_path, run(*outcomes))
        write_about(tmp_path, ABOUT)
        return CliRunner().invoke(main, ["sheet", str(tmp_path)])

    return go


def test_the_sheet_is_written_and_the_exit_code_is_that_of_the_run(sheet, tmp_path):
    ended = sheet("pass", "fail")

    assert ended.exit_code == 1
    assert f"sheet: {tmp_path / 'sheet.html'}" in ended.output
    assert "NOT READY" in (tmp_path / "sheet.html").read_text(encoding="utf-8")


def test_a_rack_that_is_ready_ends_with_zero(sheet):
    assert sheet("pass").exit_code == 0


def test_a_folder_that_is_no_run_is_told_with_what_to_name(tmp_path):
    ended = CliRunner().invoke(main, ["sheet", str(tmp_path)])

    assert ended.exit_code == 2
    assert "nothing to report" in ended.output
    assert "try: name the folder of a run" in ended.output


def test_a_sheet_that_cannot_be_written_is_exit_code_five(sheet, tmp_path):
    (tmp_path / "sheet.html").mkdir()
    ended = sheet("pass")

    assert ended.exit_code == 5
    assert "sheet.html was not written" in ended.output
    assert "Traceback" not in ended.output
