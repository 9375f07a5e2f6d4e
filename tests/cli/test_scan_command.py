"""`hil scan` in virtual time: what it prints, its exit codes, the draft."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from hil.cli.main import main
from hil.files.read import read_rack

FIXTURES = Path(__file__).parents[2] / "fixtures"
ANNEXE = (FIXTURES / "annexe.yaml").read_text("utf-8")


def hil(*words):
    return CliRunner().invoke(main, list(words))


def scan(folder, *words, **changes):
    text = ANNEXE
    for old, new in changes.get("changes", ()):
        assert old in text
        text = text.replace(old, new)
    (folder / "bench.yaml").write_text(text, "utf-8")
    return hil("scan", "--virtual", "--bench", str(folder / "bench.yaml"), *words)


def test_a_rack_as_declared_ends_with_zero(tmp_path):
    ended = scan(tmp_path)
    rows = ended.output.splitlines()

    assert ended.exit_code == 0, ended.output
    assert rows[0] == "annexe: all 3 nodes as declared"
    assert re.fullmatch(
        r"feedline    127\.0\.0\.1:47921       1  AX-0201  1\.4\.2 +1  3 of 3  announced, asked",
        rows[3],
    )


def test_older_firmware_ends_with_three(tmp_path):
    ended = scan(
        tmp_path, changes=[("  settings:\n    firmware: 1.4.2", "  settings:\n    firmware: 1.3")]
    )

    assert ended.exit_code == 3
    assert "annexe: 3 differences from the bench file" in ended.output
    assert "firmware: beacon: firmware is 1.3, wanted >= 1.4" in ended.output


def test_rounds_can_be_chosen(tmp_path):
    assert "5 of 5" in scan(tmp_path, "--rounds", "5").output


def test_a_bench_without_discovery_is_asked_at_its_addresses():
    ended = hil("scan", "--virtual", "--bench", str(FIXTURES / "glasshouse.yaml"))

    assert ended.exit_code == 0, ended.output
    assert ended.output.count("3 of 3  asked") == 10


def test_coap_nodes_tell_who_they_are():
    ended = hil("scan", "--virtual", "--bench", str(FIXTURES / "propagator.yaml"))

    assert ended.exit_code == 0, ended.output
    assert "bed   127.0.0.1:47931       -  PG-0101  1.2.0" in ended.output


def test_a_bench_with_serial_consoles_only_has_nothing_to_scan():
    ended = hil("scan", "--virtual", "--bench", str(FIXTURES / "doser.yaml"))

    assert ended.exit_code == 2
    assert "doser: nothing that a scan can find" in ended.output


def test_the_draft_is_a_bench_file_and_replaces_none(tmp_path):
    file = tmp_path / "new.yaml"
    ended = scan(tmp_path, "--write", str(file))
    again = scan(tmp_path, "--write", str(file))

    assert ended.exit_code == 0, ended.output
    assert f"{file}: a draft; look for `fill in` in it, then: hil check {file}" in ended.output
    assert hil("check", str(file)).output == f"{file}: 3 nodes, 3 signals, no mistake\n"
    assert [node.name for node in read_rack(str(file)).nodes] == [
        "feedline",
        "circulator",
        "beacon",
    ]
    assert again.exit_code == 2
    assert "new.yaml is there already" in again.output
    assert "as declared" not in again.output  # it was refused before it asked anybody


def test_a_draft_keeps_the_rounds_of_the_file(tmp_path):
    file = tmp_path / "new.yaml"
    scan(tmp_path, "--rounds", "1", "--write", str(file))

    assert read_rack(str(file)).discovery.rounds == 3


def test_a_draft_in_a_folder_that_is_not_there_is_refused_before_the_scan(tmp_path):
    ended = scan(tmp_path, "--write", str(tmp_path / "nowhere" / "new.yaml"))

    assert ended.exit_code == 2
    assert "a folder that is not there" in ended.output


def test_two_ways_of_reaching_software_nodes_exclude_each_other(tmp_path):
    assert scan(tmp_path, "--served").exit_code == 2


@pytest.mark.parametrize("words", [("--rounds", "0"), ("--rounds", "many"), ("--nowhere",)])
def test_a_wrong_command_line_ends_with_two(words):
    assert hil("scan", *words).exit_code == 2


def test_a_bench_without_software_cannot_be_scanned_virtually(tmp_path):
    text = ANNEXE[: ANNEXE.index("\nsoftware:\n")]
    (tmp_path / "bench.yaml").write_text(text, "utf-8")
    ended = hil("scan", "--virtual", "--bench", str(tmp_path / "bench.yaml"))

    assert ended.exit_code == 3
    assert "names no software model, so it cannot be scanned virtually" in ended.output
