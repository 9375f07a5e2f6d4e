"""One run per node, the mark of an unclean end, and the folder they are written down in.

Every test process has loopback addresses of its own, so that several can be at work at once.
"""

import json
import os
import stat
import threading

import pytest

from hil.bench.lock import RackLock
from hil.bench.mark import FOLDER, Mark, needs_repair, plain_name
from hil.core.error import BenchError, BusyError
from hil.wire.rack import Address

pytestmark = pytest.mark.wall

HOST = f"127.{os.getpid() >> 16 & 255}.{os.getpid() >> 8 & 255}.{os.getpid() & 255}"
ONE, TWO, THREE = (Address(HOST, port) for port in (1, 2, 3))


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "rackproof"


@pytest.fixture
def take(folder):
    """Take a rack; whatever is still held at the end is given back."""
    held = []

    def go(*addresses, rack="glasshouse", run="run-a", **more):
        held.append(RackLock.acquire(rack, addresses, run, folder=folder, **more))
        return held[-1]

    yield go
    for lock in held:
        lock.release()


def test_a_second_run_is_told_who_holds_the_rack_and_since_when(take):
    first = take(ONE)
    with pytest.raises(BusyError) as caught:
        take(ONE, run="run-b")

    assert (
        f"rack glasshouse is busy: run run-a, process {os.getpid()} on {first.holder.host}, "
        f"since {first.holder.since}, holds {HOST}:1; it has one run at a time" == str(caught.value)
    )
    assert first.holder.since.endswith(" UTC")


def test_a_released_rack_can_be_taken(take):
    take(ONE).release()

    assert take(ONE, run="run-b").holder.run == "run-b"


def test_the_same_addresses_under_another_title_are_the_same_rack(take):
    take(ONE, TWO)

    with pytest.raises(BusyError, match="rack another name is busy: run run-a"):
        take(TWO, ONE, rack="another name", run="run-b")


def test_racks_that_share_one_node_are_not_run_at_once(take):
    take(ONE, TWO)

    with pytest.raises(BusyError, match=rf"holds {HOST}:2"):
        take(TWO, THREE, run="run-b")


def test_a_run_that_is_refused_holds_nothing(take):
    take(TWO)
    with pytest.raises(BusyError):
        take(ONE, TWO, THREE, run="run-b")

    assert take(ONE, THREE, run="run-c").holder.run == "run-c"


def test_two_racks_do_not_disturb_each_other(take):
    take(ONE, TWO)

    assert take(THREE, run="run-b").holder.run == "run-b"


@pytest.mark.parametrize(
    ("one", "other"),
    [("::1", "0:0:0:0:0:0:0:1"), ("192.0.2.7", "::ffff:192.0.2.7"), ("fe80::1", "FE80:0::1")],
)
def test_an_address_is_the_same_however_it_is_written(one, other):
    assert plain_name(Address(one, 5)) == plain_name(Address(other, 5))


@pytest.mark.parametrize("temporary", [{}, {"XDG_RUNTIME_DIR": "."}, {"TMPDIR": "."}])
def test_the_folder_is_one_for_the_computer_whatever_the_environment(temporary, monkeypatch):
    for name in ("XDG_RUNTIME_DIR", "TMPDIR", "HOME"):
        monkeypatch.delenv(name, raising=False)
    for name, value in temporary.items():
        monkeypatch.setenv(name, value)

    assert Mark(ONE).holder_file == FOLDER / f"{HOST}_1.holder"


def test_the_folder_and_its_files_are_open_to_all_users(take, folder):
    before = os.umask(0o077)
    try:
        take(ONE).mark_unclean()
    finally:
        os.umask(before)
    modes = {stat.S_IMODE(file.stat().st_mode) for file in folder.iterdir()}

    assert (stat.S_IMODE(folder.stat().st_mode), modes) == (0o1777, {0o666})


@pytest.mark.parametrize("text", [b"", b"{", b"[1]", b'{"run": 1}', b"\xff\xfe"])
def test_a_holder_that_cannot_be_read_is_still_a_holder(text, take):
    take(ONE).marks[0].holder_file.write_bytes(text)

    with pytest.raises(BusyError, match="another run holds"):
        take(ONE, run="run-b", attempts=2)


def test_one_that_has_wiped_its_words_and_is_about_to_end_is_waited_for(take):
    leaving = take(ONE)
    leaving.marks[0].holder_file.write_bytes(b"{}")
    threading.Timer(0.15, leaving.release).start()

    assert take(ONE, run="run-b").holder.run == "run-b"


def test_a_name_that_somebody_else_wrote_does_not_reach_the_terminal_raw(take):
    mark = take(ONE).marks[0]
    shown = json.loads(mark.holder_file.read_bytes()) | {"run": "a\x1b[2J"}
    mark.holder_file.write_text(json.dumps(shown))

    with pytest.raises(BusyError, match=r"run a\?\[2J, process"):
        take(ONE, run="run-b")


def test_a_guard_at_work_is_waited_for_but_not_for_ever(take):
    mark = take(ONE).marks[0]
    shown = json.loads(mark.holder_file.read_bytes()) | {"guard": True}
    mark.holder_file.write_text(json.dumps(shown))

    with pytest.raises(BusyError, match="the guard of run run-a"):
        take(ONE, run="run-b", attempts=2)


def test_an_unclean_end_needs_repair_until_it_is_marked_clean(take, folder):
    before = needs_repair([ONE], folder)
    first = take(ONE)
    first.mark_unclean()
    first.release()
    repair = needs_repair([ONE], folder)
    take(ONE, run="run-b").mark_clean()

    assert (before, needs_repair([ONE], folder)) == (None, None)
    assert repair is not None
    assert repair.holder.run == "run-a"
    assert "no guard has sent the safe commands" in str(repair)


def test_an_unclean_end_belongs_to_the_addresses_and_to_no_others(take, folder):
    first = take(ONE, TWO)
    first.mark_unclean()
    first.release()

    assert needs_repair([THREE], folder) is None
    assert needs_repair([THREE, TWO], folder) is not None
    take(TWO, THREE, rack="another", run="run-b").mark_clean()
    assert needs_repair([TWO, THREE], folder) is None
    assert needs_repair([ONE], folder) is not None


def test_a_node_that_was_left_unsafe_and_is_away_stays_marked(take, folder):
    first = take(ONE, TWO)
    first.mark_unclean()
    first.release()
    second = take(ONE, TWO, THREE, run="run-b")
    second.mark_unclean()
    second.mark_clean(unseen=[TWO, THREE])

    assert [needs_repair([one], folder) is None for one in (ONE, TWO, THREE)] == [
        True,
        False,
        True,
    ]


def test_what_the_guard_did_is_part_of_the_repair(take, folder):
    held = take(ONE)
    held.mark_unclean()
    held.marks[0].guard_file.write_text('{"sent": 12, "answered": 11}')

    assert "its guard sent 12 safe commands, 11 were answered" in str(needs_repair([ONE], folder))


def test_what_an_older_guard_did_does_not_count_for_a_new_run(take, folder):
    held = take(ONE)
    held.mark_unclean()
    held.marks[0].guard_file.write_text('{"sent": 12, "answered": 11}')
    held.mark_unclean()

    assert "no guard" in str(needs_repair([ONE], folder))


def test_a_spoilt_mark_still_needs_repair(take, folder):
    held = take(ONE)
    held.mark_unclean()
    held.marks[0].unclean_file.write_bytes(b"\x00")

    assert "unknown" in str(needs_repair([ONE], folder))


def test_a_folder_that_is_not_open_to_all_is_refused(folder):
    folder.mkdir(mode=0o700)

    with pytest.raises(BenchError, match=rf"open to all users.*\n    try: chmod 1777 {folder}"):
        Mark(ONE, folder)


def test_a_link_in_the_place_of_the_folder_is_refused(folder, tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere").chmod(0o1777)
    folder.symlink_to(tmp_path / "elsewhere")

    with pytest.raises(BenchError, match="must be a folder"):
        Mark(ONE, folder)


def test_a_link_or_a_pipe_in_the_place_of_a_file_is_refused(take, folder, tmp_path):
    mark = Mark(ONE, folder)
    mark.holder_file.symlink_to(tmp_path / "victim")
    os.mkfifo(Mark(TWO, folder).holder_file)

    for address in (ONE, TWO):
        with pytest.raises(BenchError, match="cannot be written"):
            take(address)
    assert not (tmp_path / "victim").exists()
