"""Whole runs on a disk that is really full, and on a folder that is really read-only."""

import sys
from pathlib import Path

import pytest
from wall.mounts import in_a_mount, read_only, small

ROOT = Path(__file__).parents[2]
PLANS = [str(ROOT / "testplans" / name) for name in ("02-feed-pressure.yaml", "17-alarms.yaml")]
BENCH = str(ROOT / "fixtures" / "glasshouse.yaml")

pytestmark = pytest.mark.wall


def run(mount, reports, *then):
    """Run two plans in virtual time into a folder of that mount, and something after that."""
    hil = [sys.executable, "-m", "hil", "run", *PLANS, "--bench", BENCH, "--virtual"]
    after = f'"$@"; code=$?; {"; ".join(then) or ":"}; exit $code'
    return in_a_mount(mount, "sh", "-c", after, "sh", *hil, "--reports", reports)


@pytest.fixture
def disk(tmp_path):
    folder = tmp_path / "disk"
    folder.mkdir()
    return folder


def test_a_disk_that_fills_up_costs_datagrams_and_no_verdict(tmp_path, disk):
    kept = tmp_path / "kept"
    ended = run(small(disk, "500k"), disk / "r", f"cp -rL '{disk}/r/latest' '{kept}'")
    page = (kept / "report.html").read_text(encoding="utf-8")

    assert ended.returncode == 5
    assert "READY: 22 of 22 cases passed" in ended.stdout
    assert "journal.jsonl is not complete: missing are" in ended.stderr
    assert "No space left on device" in ended.stderr
    # what was written is whole, and says itself that something is missing
    assert 'tests="20"' in (kept / "junit.xml").read_text(encoding="utf-8")
    assert "bench, journal incomplete: the journal is not complete: missing are" in page
    assert "what could be written of the datagrams" in page
    assert [path.name for path in kept.rglob("*") if path.name.startswith(".")] == []


def test_what_a_full_disk_kept_can_be_made_again_and_still_says_so(tmp_path, disk):
    kept = tmp_path / "kept"
    run(small(disk, "500k"), disk / "r", f"cp -rL '{disk}/r/latest' '{kept}'")
    words = [sys.executable, "-m", "hil", "rebuild", kept, "--no-history"]
    ended = in_a_mount("true", *words)

    assert "22 of 22 cases passed" in ended.stdout
    assert "journal incomplete" in (kept / "report.html").read_text(encoding="utf-8")


def test_a_disk_without_room_for_a_journal_ends_the_run_before_anything_moves(disk):
    ended = run(small(disk, "64k"), disk / "r", f"find '{disk}' -type f")

    assert ended.returncode == 5
    assert "journal.jsonl was not begun: No space left on device" in ended.stderr
    assert "pass" not in ended.stdout
    assert str(disk) not in ended.stdout


@pytest.mark.parametrize("inner", ["", "deeper/still"])
def test_a_read_only_folder_ends_the_run_before_anything_moves(disk, inner):
    (disk / "latest").symlink_to("a-run-of-before")
    ended = run(read_only(disk), disk / inner, f"find '{disk}' -type f")

    assert ended.returncode == 5
    assert "Read-only file system" in ended.stderr
    assert "pass" not in ended.stdout
    assert [path.name for path in disk.iterdir()] == ["latest"]


def test_a_report_in_a_read_only_folder_stays_as_it_was(disk):
    run("true", disk / "r")
    folder = (disk / "r" / "latest").resolve()
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    words = [sys.executable, "-m", "hil", "rebuild", folder, "--no-history"]
    ended = in_a_mount(read_only(folder), *words)

    assert ended.returncode == 5
    assert "junit.xml was not written: " in ended.stderr
    assert "Read-only file system" in ended.stderr
    assert "Traceback" not in ended.stderr
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before
