"""Captures of a run, opened by the analyser that people have: tshark, where it is installed."""

import shutil
import subprocess

import pytest

from hil.runner.options import Options
from hil.runner.run import run_plans

pytestmark = [
    pytest.mark.wall,
    pytest.mark.skipif(shutil.which("tshark") is None, reason="tshark is not installed"),
]


@pytest.fixture(scope="module")
def capture(tmp_path_factory):
    folder = tmp_path_factory.mktemp("run")
    options = Options(
        plans=("testplans/01-first-steps.yaml",), virtual=True, reports=str(folder / "reports")
    )
    return run_plans(options, say=lambda text: None).folder / "capture.pcapng"


def tshark(capture, *words):
    command = ["tshark", "-r", str(capture), *words]
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()


def test_every_packet_is_read_with_right_checksums_and_no_expert_note(capture):
    checks = ("-o", "udp.check_checksum:TRUE", "-o", "ip.check_checksum:TRUE")
    fields = ("-e", "udp.checksum.status", "-e", "ip.checksum.status", "-e", "_ws.expert.message")
    rows = tshark(capture, *checks, "-T", "fields", *fields)
    journal = (capture.parent / "journal.jsonl").read_text("utf-8").splitlines()

    assert len(rows) == sum('"event":"datagram"' in line for line in journal) > 400
    told = {tuple(row.split("\t")[:2]) for row in rows}
    assert told == {("1", "1")}  # 1: good
    notes = {row.split("\t")[2] for row in rows}
    assert all(not note or note.startswith(("First steps", "safe")) for note in notes)


def test_comments_say_which_case_and_step(capture):
    (comment,) = {
        row
        for row in tshark(capture, "-T", "fields", "-e", "frame.comment")
        if "stimulus: louvres.vane-1.angle" in row
    }

    assert comment.startswith("First steps: a vane turns where it is told to, step 1; stimulus")


def test_a_checksum_that_was_spoiled_is_seen(capture, tmp_path):
    octets = bytearray(capture.read_bytes())
    place = octets.index(bytes.fromhex("2101")) + 2  # in the payload of the first request
    octets[place] ^= 0xFF
    spoiled = tmp_path / "spoiled.pcapng"
    spoiled.write_bytes(octets)
    rows = tshark(
        spoiled, "-o", "udp.check_checksum:TRUE", "-T", "fields", "-e", "udp.checksum.status"
    )

    assert rows.count("0") == 1  # 0: bad
