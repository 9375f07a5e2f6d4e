"""One run per rack (N10), the mark of an unclean end, and the folder they live in."""

import json
import os
import stat

import pytest

from hil.bench.lock import RackLock, needs_repair, runtime_folder
from hil.core.error import BenchError, BusyError


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))


def test_a_second_run_is_told_who_holds_the_rack_and_since_when():
    with RackLock.acquire("glasshouse", "run-a") as first, pytest.raises(BusyError) as caught:
        RackLock.acquire("glasshouse", "run-b")

    assert (
        f"rack glasshouse is busy: run run-a, process {os.getpid()} on {first.holder.host}, "
        f"since {first.holder.since}" == str(caught.value)
    )
    assert first.holder.since.endswith(" UTC")


def test_a_released_rack_can_be_taken():
    RackLock.acquire("glasshouse", "run-a").release()

    RackLock.acquire("glasshouse", "run-b").release()


def test_two_racks_do_not_disturb_each_other():
    with RackLock.acquire("glasshouse", "a"), RackLock.acquire("glass house", "b") as second:
        assert second.holder.run == "b"


@pytest.mark.parametrize("name", ["../../etc/passwd", "a/b", "Gewächshaus", "x" * 500, "."])
def test_any_rack_name_makes_a_file_in_the_folder(name):
    with RackLock.acquire(name, "run") as held:
        assert runtime_folder() == held.lock_file.parent
        assert held.lock_file.exists()


@pytest.mark.parametrize("text", [b"", b"{", b"[1]", b'{"run": 1}', b"\xff\xfe"])
def test_a_holder_that_cannot_be_read_is_still_a_holder(text):
    with RackLock.acquire("glasshouse", "a") as first:
        first.lock_file.write_bytes(text)

        with pytest.raises(BusyError, match="held by another run"):
            RackLock.acquire("glasshouse", "b")


def test_a_guard_at_work_is_waited_for_but_not_for_ever():
    with RackLock.acquire("glasshouse", "a") as first:
        shown = json.loads(first.lock_file.read_bytes()) | {"guard": True}
        first.lock_file.write_text(json.dumps(shown))

        with pytest.raises(BusyError, match="the guard of run a"):
            RackLock.acquire("glasshouse", "b", attempts=2)


def test_an_unclean_end_needs_repair_until_it_is_marked_clean():
    assert needs_repair("glasshouse") is None
    with RackLock.acquire("glasshouse", "a") as held:
        held.mark_unclean()
    repair = needs_repair("glasshouse")
    with RackLock.acquire("glasshouse", "b") as held:
        held.mark_clean()

    assert repair is not None
    assert repair.holder.run == "a"
    assert "no guard has sent the safe commands" in str(repair)
    assert needs_repair("glasshouse") is None


def test_what_the_guard_did_is_part_of_the_repair():
    with RackLock.acquire("glasshouse", "a") as held:
        held.mark_unclean()
        held.guard_file.write_text('{"sent": 12, "answered": 11}')

    assert "its guard sent 12 safe commands, 11 were answered" in str(needs_repair("glasshouse"))


def test_what_an_older_guard_did_does_not_count_for_a_new_run():
    with RackLock.acquire("glasshouse", "a") as held:
        held.guard_file.write_text('{"sent": 12, "answered": 11}')
        held.mark_unclean()

    assert "no guard" in str(needs_repair("glasshouse"))


def test_a_spoilt_mark_still_needs_repair():
    with RackLock.acquire("glasshouse", "a") as held:
        held.mark_unclean()
    for file in runtime_folder().glob("*.unclean"):
        file.write_bytes(b"\x00")

    assert "unknown" in str(needs_repair("glasshouse"))


def test_the_folder_is_nobody_elses(tmp_path):
    assert stat.S_IMODE(runtime_folder().stat().st_mode) == 0o700
    runtime_folder().chmod(0o755)

    with pytest.raises(BenchError, match="nobody else can open"):
        runtime_folder()


def test_a_link_in_the_place_of_the_folder_is_refused(tmp_path):
    (tmp_path / "elsewhere").mkdir(mode=0o700)
    (tmp_path / "rackproof").symlink_to(tmp_path / "elsewhere")

    with pytest.raises(BenchError, match="a folder of your own"):
        runtime_folder()


def test_without_a_runtime_folder_the_temporary_one_serves(tmp_path, monkeypatch):
    monkeypatch.delenv("XDG_RUNTIME_DIR")
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))

    assert tmp_path / f"rackproof-{os.getuid()}" == runtime_folder()
