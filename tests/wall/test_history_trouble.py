"""A history in trouble: full disk, read-only folder, a lock, kill -9, two writers at once."""

import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from history.nights import about, folder_of, night, of
from wall import mounts

from hil.core.error import StoreError
from hil.history.keep import keep_run
from hil.history.place import place_of
from hil.history.runs import newest
from hil.history.shelf import Shelf

pytestmark = pytest.mark.wall

WRITER = Path(__file__).parent / "history_writer.py"
PATIENCE = 60


def big(checks: int = 100) -> list:
    """Return a night of so many checks: more than one page, or more than a small disk."""
    return night(*((f"case {at} of night", "pass", {}) for at in range(checks)))


def writer(place, *words, prefix=()):
    return subprocess.Popen(
        [*prefix, sys.executable, str(WRITER), str(place), *map(str, words)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def finish(process):
    out, err = process.communicate(timeout=PATIENCE)
    assert process.returncode == 0, err
    return out.splitlines()


def names(file):
    shelf = Shelf(place_of(str(file)))
    with shelf.reading() as connection:
        found = sorted(run.name for run in newest(connection, 999))
    shelf.close()
    return found


def is_whole(file, checks):
    """Say whether the file is sound and every run in it has all its checks."""
    connection = sqlite3.connect(file)
    sound = connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    asked = "SELECT count(r.run) FROM runs LEFT JOIN results r ON r.run = runs.id GROUP BY runs.id"
    counts = {count for (count,) in connection.execute(asked)}
    connection.close()
    return sound and counts <= {checks}


def in_a_mount(mount, *command):
    """Run a command where `mount` was done before; return what it said."""
    ended = mounts.in_a_mount(mount, *command)
    assert ended.returncode == 0, ended.stderr
    return ended.stdout.splitlines()


def test_a_full_disk_is_told_and_keeps_what_was_there(tmp_path):
    disk = tmp_path / "disk"
    disk.mkdir()
    small, large = folder_of(tmp_path, of("pass"), 0), folder_of(tmp_path, big(3000), 1)
    file = disk / "history.sqlite"
    said = in_a_mount(
        mounts.small(disk, "340k"),
        "sh",
        "-c",
        f'"$1" "$2" {file} {small} {large}; "$1" "$2" {file} --runs',
        "sh",
        sys.executable,
        WRITER,
    )

    assert said[0] == f"kept {about(0).run}"
    assert said[1] == f"StoreError: the history {file} was not written: the disk is full"
    assert said[2] == about(0).run


def test_a_read_only_folder_is_told_and_can_be_read(tmp_path):
    place, folder = tmp_path / "kept", folder_of(tmp_path, of("pass"), 0)
    place.mkdir()
    file = place / "history.sqlite"
    keep_run(place_of(str(file)), folder)
    said = in_a_mount(
        mounts.read_only(place),
        "sh",
        "-c",
        f'"$1" "$2" {file} {folder}; "$1" "$2" {file} --runs; "$1" "$2" {place}/new {folder}',
        "sh",
        sys.executable,
        WRITER,
    )

    assert said == [
        f"StoreError: the history {file} cannot be written: its folder is read-only",
        about(0).run,
        f"StoreError: the history {place}/new cannot be written: its folder is read-only",
    ]


def test_a_lock_that_is_never_given_back_is_told(tmp_path):
    file = tmp_path / "history.sqlite"
    keep_run(place_of(str(file)), folder_of(tmp_path, of("pass"), 0))
    holder = sqlite3.connect(file, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    hasty = place_of(f"sqlite:///{file}?timeout=0.2")
    with pytest.raises(StoreError, match="is locked by another process"):
        keep_run(hasty, folder_of(tmp_path, of("pass"), 1))
    assert names(file) == [about(0).run]  # readers are not kept waiting
    holder.execute("ROLLBACK")
    holder.close()
    keep_run(hasty, folder_of(tmp_path, of("pass"), 1))

    assert names(file) == [about(0).run, about(1).run]


def test_a_writer_that_is_killed_in_the_middle_leaves_nothing_and_no_lock(tmp_path):
    file = tmp_path / "history.sqlite"
    keep_run(place_of(str(file)), folder_of(tmp_path, big(), 0))
    stopped = writer(file, "--hold", folder_of(tmp_path, big(), 1))
    assert stopped.stdout.readline() == "in the middle\n"
    stopped.send_signal(signal.SIGKILL)
    stopped.communicate()

    assert names(file) == [about(0).run]
    assert is_whole(file, 100)
    keep_run(place_of(f"sqlite:///{file}?timeout=0.2"), folder_of(tmp_path, big(), 1))
    assert names(file) == [about(0).run, about(1).run]


@pytest.mark.parametrize("kept", [1, 2, 3])
def test_a_writer_killed_at_any_time_leaves_whole_runs(tmp_path, kept):
    file = tmp_path / "history.sqlite"
    folders = [folder_of(tmp_path, big(), number) for number in range(6)]
    process = writer(file, *folders)
    for _ in range(kept):
        assert process.stdout.readline().startswith("kept ")
    process.send_signal(signal.SIGKILL)
    process.communicate()

    assert len(names(file)) >= kept
    assert is_whole(file, 100)


def test_two_writers_at_once_both_keep_everything(tmp_path):
    file = tmp_path / "history.sqlite"
    folders = [folder_of(tmp_path, big(), number) for number in range(8)]
    first, second = writer(file, *folders[::2]), writer(file, *folders[1::2])
    said = [*finish(first), *finish(second)]

    assert sorted(said) == [f"kept {folder.name}" for folder in folders]
    assert names(file) == [folder.name for folder in folders]
    assert is_whole(file, 100)
