"""Files of evidence: whole or not there, the old one kept, the missing bytes named."""

import os
import subprocess
import sys

import pytest

from hil.core.error import StoreError
from hil.report.store import forget_latest, new_folder, point_latest, write_pieces, write_whole

LIMITED = """
import resource, sys
from pathlib import Path
from hil.core.error import StoreError
from hil.report.store import write_whole
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
try:
    write_whole(Path(sys.argv[1]), b"n" * 3000)
except StoreError as error:
    print(error)
"""


def test_a_report_that_does_not_fit_leaves_the_old_one(tmp_path):
    path = tmp_path / "junit.xml"
    path.write_bytes(b"old")
    ended = subprocess.run(
        [sys.executable, "-c", LIMITED, str(path)], capture_output=True, text=True, check=True
    )

    assert f"{path} was not written: 2000 of 3000 bytes are missing (File too large)\n" == (
        ended.stdout
    )
    assert (path.read_bytes(), os.listdir(tmp_path)) == (b"old", ["junit.xml"])


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="this system has no /dev/full")
def test_a_full_device_is_told(tmp_path):
    temporary = tmp_path / f".junit.xml.{os.getpid()}.part"
    temporary.symlink_to("/dev/full")

    with pytest.raises(StoreError, match=r"5 of 5 bytes are missing \(No space left on device\)"):
        write_whole(tmp_path / "junit.xml", b"12345")


def test_content_that_fails_its_check_is_not_published(tmp_path):
    def refuse(content):
        raise ValueError("it is no good")

    with pytest.raises(StoreError, match="it is no good"):
        write_whole(tmp_path / "junit.xml", b"x", refuse)
    assert os.listdir(tmp_path) == []


def test_a_missing_folder_is_told(tmp_path):
    with pytest.raises(StoreError, match="No such file or directory"):
        write_whole(tmp_path / "gone" / "junit.xml", b"x")


def test_folders_of_the_same_second_get_a_number(tmp_path):
    names = [new_folder(tmp_path / "reports", "20260102T030405Z-rack").name for _ in range(3)]

    assert names == ["20260102T030405Z-rack", "20260102T030405Z-rack-2", "20260102T030405Z-rack-3"]


def test_a_file_in_place_of_the_reports_folder_is_told(tmp_path):
    (tmp_path / "reports").write_text("")

    with pytest.raises(StoreError, match="is not a folder"):
        new_folder(tmp_path / "reports", "run")


def test_latest_leads_to_the_new_run_and_is_gone_before(tmp_path):
    first, second = new_folder(tmp_path, "one"), new_folder(tmp_path, "two")
    point_latest(first)
    forget_latest(tmp_path)
    gone = not (tmp_path / "latest").exists()
    point_latest(second)

    assert gone
    assert second == (tmp_path / "latest").resolve()


def test_a_reports_folder_that_cannot_be_looked_into_is_told(tmp_path):
    # a loop of links: neither missing, nor a folder, nor a question of permission
    (tmp_path / "reports").symlink_to(tmp_path / "reports")

    with pytest.raises(StoreError, match="latest could not be removed: Too many levels"):
        forget_latest(tmp_path / "reports")


def test_a_real_folder_named_latest_is_not_taken_away(tmp_path):
    (tmp_path / "latest").mkdir()

    with pytest.raises(StoreError, match="latest could not be removed"):
        forget_latest(tmp_path)


def test_pieces_are_written_whole_and_the_size_is_told(tmp_path):
    path = tmp_path / "capture"

    assert write_pieces(path, (b"abc", b"", b"de")) == 5
    assert path.read_bytes() == b"abcde"
    assert list(tmp_path.iterdir()) == [path]


def test_pieces_that_do_not_come_leave_the_old_file(tmp_path):
    path = tmp_path / "capture"
    path.write_bytes(b"old")

    def broken():
        yield b"abc"
        raise ValueError("the journal is odd")

    with pytest.raises(StoreError, match="capture was not written: the journal is odd"):
        write_pieces(path, broken())
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_pieces_that_read_back_otherwise_are_not_kept(tmp_path):
    path = tmp_path / "capture"

    def meddling():
        yield b"abc"
        (part,) = tmp_path.glob(".capture.*.part")
        with part.open("r+b") as file:  # a disk that loses what it was given
            file.write(b"X")
        yield b"de"

    with pytest.raises(StoreError, match="what was read back differs"):
        write_pieces(path, meddling())
    assert not path.exists()


def test_what_the_disk_refuses_only_when_it_is_asked_to_keep_it_is_not_published(tmp_path):
    """Sync may be the first to report the error; the null device takes octets and refuses that."""
    (tmp_path / f".report.txt.{os.getpid()}.part").symlink_to("/dev/null")

    with pytest.raises(StoreError, match="Invalid argument"):
        write_whole(tmp_path / "report.txt", b"whole", lambda document: None)

    assert list(tmp_path.iterdir()) == []
