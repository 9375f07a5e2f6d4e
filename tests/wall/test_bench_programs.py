"""Programs of a bench that misbehave in every way, and what is told of them."""

import os
import select
import signal
import time
from pathlib import Path

import pytest
from wall.power import powered, wait_until
from wall.run_rack import PATIENCE

from hil.bench.programs import GONE, Workshop
from hil.core.errand import ProgramEnded
from hil.core.instant import Instant
from hil.core.observation import Command, CommandAnswered, CommandLost, CommandSent, Purpose
from hil.files.read import read_rack

pytestmark = pytest.mark.wall


@pytest.fixture
def folder(tmp_path):
    yield from powered(tmp_path)


@pytest.fixture
def workshop(folder):
    made = Workshop(read_rack(folder / "bench.yaml"), lambda: Instant(time.monotonic_ns()))
    made.attach(lambda fd: None, lambda fd: None)
    yield made
    made.settle(safe=True)


def command(value, signal_name="gauge.power", token=1):
    return Command(token=token, signal=signal_name, value=value, purpose=Purpose.STIMULUS)


def news(workshop, until=lambda thing: isinstance(thing, CommandAnswered | CommandLost)):
    """Collect what it has to say, up to the fate of a command."""
    found, begun = [], time.monotonic()
    while not found or not until(found[-1]):
        assert time.monotonic() - begun < PATIENCE, found
        select.select([workshop._fd], [], [], 0.05)
        found += [each.thing for each in workshop.collect(Instant(time.monotonic_ns()))]
    return found


def run(workshop, value, signal_name="gauge.power"):
    workshop.start(command(value, signal_name))
    sent, ended, fate = news(workshop)
    assert isinstance(sent, CommandSent)
    assert isinstance(ended, ProgramEnded)
    return ended, fate


def test_a_program_that_ends_well_answers(workshop):
    ended, fate = run(workshop, "a b; $HOME", "gauge.note")

    assert isinstance(fate, CommandAnswered)
    assert fate.accepted
    assert (ended.how, ended.code) == ("exit code 0", 0)
    assert ended.argv[-1] == "{value}"


def test_it_runs_without_a_shell_in_the_bench_file_s_folder_with_little_around_it(workshop, folder):
    ended, _ = run(workshop, "a b; $HOME `x`", "gauge.note")
    names, rest = ended.head.split("] ", 1)

    assert rest == f"{folder} a b; $HOME `x` \n"
    assert set(names.strip("[").replace("'", "").split(", ")) <= {
        "HOME",
        "LANG",
        "LC_CTYPE",
        "PATH",
    }


@pytest.mark.parametrize(
    ("value", "how", "words"),
    [
        ("missing", "could not be started: no such file or directory", ""),
        ("killed", "ended by SIGSEGV", ", it said: its last words"),
        ("bad", "exit code 7", ", it said: no outlet 3 here"),
    ],
)
def test_a_program_that_fails_breaks_its_command_and_says_how(workshop, value, how, words):
    ended, fate = run(workshop, value)

    assert ended.how == how
    assert isinstance(fate, CommandLost)
    assert fate.broken
    assert fate.detail.endswith(f"): {how}{words}")


def test_a_program_that_hangs_is_killed_with_its_whole_group(workshop):
    begun = time.monotonic()
    ended, fate = run(workshop, "hang")
    took = time.monotonic() - begun

    assert (ended.how, ended.code) == ("killed after 1 s", None)
    assert fate.broken
    assert 1.9 <= took < 4  # a second of its own, and one of grace, for it ignores SIGTERM
    wait_until(lambda: not alive_in_group(int(ended.head)))


def alive_in_group(group):
    """Return the processes of a group that do not merely wait to be reaped."""
    found = []
    for each in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, _, number = each.read_text().rsplit(")", 1)[1].split()[:3]
        except OSError:  # it has just gone
            continue
        if int(number) == group and state != "Z":
            found.append(each.parent.name)
    return found


def test_a_flood_of_output_holds_nobody_up_and_is_not_kept(workshop):
    ended, fate = run(workshop, "flood")

    assert (ended.size, fate.accepted) == (400_000_000, True)
    assert (len(ended.head), len(ended.tail)) == (2000, 2000)
    assert max(each.bit_length() for each in ended.head.encode()) == 0


def test_halt_ends_what_runs(workshop):
    workshop.start(command("hang"))
    news(workshop, lambda thing: isinstance(thing, CommandSent))
    workshop.halt()
    ended, _ = news(workshop)

    assert ended.how == "ended, for the run is"


def test_a_later_command_on_the_same_signal_ends_the_one_before(workshop):
    workshop.start(command("hang"))
    news(workshop, lambda thing: isinstance(thing, CommandSent))
    workshop.start(command("missing", token=2))
    fates = [each for each in news(workshop, _is_second) if isinstance(each, CommandLost)]

    assert [fate.token for fate in fates] == [1, 2]
    assert "ended, for a later one came" in fates[0].detail


def _is_second(thing):
    return isinstance(thing, CommandLost) and thing.token == 2


def test_commands_break_when_the_supervisor_is_killed(workshop):
    workshop.start(command("hang"))
    news(workshop, lambda thing: isinstance(thing, CommandSent))
    os.kill(workshop.pid, signal.SIGKILL)
    lost = news(workshop)[-1]
    workshop.start(command("run", token=2))
    again = news(workshop)[-1]

    assert (lost.broken, lost.detail, again.broken, again.detail) == (True, GONE, True, GONE)
