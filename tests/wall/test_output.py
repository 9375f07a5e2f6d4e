"""Standard output that ends early or is full, for every command: a code, and no traceback."""

import os
import subprocess
import sys

import pytest

from hil.cli.main import COMMANDS

pytestmark = pytest.mark.wall

PLAN = """\
plan: A first look
cases:
  - case: over-pressure turns the stack light {colour}
    steps:
      - stimulus: {{feedline.pressure: 9.0 bar}}
        expect: [{{signal: beacon.lamp, value: {colour}, within: 500 ms}}]
"""
SAID = {
    "run": (("run", "right.yaml", "--virtual"), 0),
    "run that fails": (("run", "wrong.yaml", "--virtual"), 1),
    "run list": (("run", "right.yaml", "--list"), 0),
    "check": (("check", "right.yaml"), 0),
    "bus": (("bus",), 0),
    "alarms": (("alarms", "review", "fixtures/glasshouse-alarms.yaml"), 0),
    "nodes": (("nodes", "--help"), 0),
    "schema": (("schema", "plan"), 0),
    "rebuild": (("rebuild", "done"), 1),
    "sheet": (("sheet", "done"), 1),
    "judge": (("judge", "done", "--reports", "judged"), 1),
    **{
        name: ((name, "--help"), 0)
        for name in ("get", "set", "watch", "wire", "scan", "history", "trend")
    },
    "help": (("--help",), 0),
    "version": (("--version",), 0),
    "wrong word": (("frobnicate",), 2),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory, request):
    made = tmp_path_factory.mktemp("output")
    (made / "right.yaml").write_text(PLAN.format(colour="red"))
    (made / "wrong.yaml").write_text(PLAN.format(colour="green"))
    (made / "fixtures").symlink_to(request.config.rootpath / "fixtures")
    hil(made, ("run", "wrong.yaml", "--virtual", "--reports", "runs"), subprocess.DEVNULL)
    (made / "done").symlink_to((made / "runs" / "latest").resolve())
    return made


def hil(folder, words, stdout):
    ended = subprocess.run(
        [sys.executable, "-m", "hil", *words],
        cwd=folder,
        stdout=stdout,
        stderr=subprocess.PIPE,
        text=True,
        timeout=60,
    )
    return ended.returncode, ended.stderr


def into_broken_pipe(folder, words):
    reader, writer = os.pipe()
    os.close(reader)
    try:
        return hil(folder, words, writer)
    finally:
        os.close(writer)


def into_full_disk(folder, words):
    with open("/dev/full", "wb") as full:
        return hil(folder, words, full)


def test_every_command_is_in_the_table():
    assert {words[0] for words, _ in SAID.values()} >= set(COMMANDS)


@pytest.mark.parametrize("name", SAID)
def test_a_reader_that_went_away_changes_no_exit_code(folder, name):
    words, own = SAID[name]
    code, err = into_broken_pipe(folder, words)

    assert code == own
    assert "Traceback" not in err
    assert "Broken pipe" not in err


@pytest.mark.parametrize("name", SAID)
def test_output_that_cannot_be_written_is_lost_evidence(folder, name):
    words, own = SAID[name]
    silent = name == "wrong word"  # it says all it has to say on standard error
    code, err = into_full_disk(folder, words)

    assert code == (own if silent else 5)
    assert "Traceback" not in err
    assert ("standard output was not written: No space left on device" in err) is not silent


@pytest.mark.parametrize("closing", ["stdout", "stderr"])
def test_a_stream_that_is_closed_from_the_beginning_is_no_fault(folder, closing):
    number = {"stdout": 1, "stderr": 2}[closing]
    shell = f'exec {number}>&-; exec "$@"'
    ended = subprocess.run(
        ["sh", "-c", shell, "sh", sys.executable, "-m", "hil", "check", "right.yaml"],
        cwd=folder,
        capture_output=True,
        text=True,
    )

    assert (ended.returncode, "Traceback" in ended.stderr) == (0, False)
