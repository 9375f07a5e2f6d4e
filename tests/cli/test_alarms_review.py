"""`hil alarms` and what `hil check` says about alarm specs, called as people call them."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from hil.cli import alarms
from hil.cli.main import main

ROOT = Path(__file__).parents[2]
SPEC = (ROOT / "fixtures" / "glasshouse-alarms.yaml").read_text("utf-8")


@pytest.fixture
def hil(tmp_path, monkeypatch):
    (tmp_path / "fixtures").mkdir()
    for name in ("glasshouse.yaml", "glasshouse-alarms.yaml"):
        (tmp_path / "fixtures" / name).write_text((ROOT / "fixtures" / name).read_text("utf-8"))
    (tmp_path / "testplans").symlink_to(ROOT / "testplans")
    (tmp_path / "same.yaml").write_text(SPEC)
    monkeypatch.chdir(tmp_path)
    return lambda *words: CliRunner().invoke(main, words)


def write(tmp_path, *changes, name="other.yaml"):
    text = SPEC
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    (tmp_path / name).write_text(text)


@pytest.mark.parametrize("name", alarms.COMMANDS)
def test_the_table_of_commands_says_what_the_commands_say(name, hil):
    text = hil("alarms", name, "--help").output

    assert alarms.COMMANDS[name][1] in " ".join(text.split())


def test_an_unknown_command_of_the_group_gets_a_suggestion(hil):
    ended = hil("alarms", "reviw")

    assert ended.exit_code == 2
    assert "there is no command 'reviw'" in ended.output
    assert "alarms review" in ended.output


def test_a_review_shows_what_is_accepted_and_ends_with_zero(hil):
    ended = hil("alarms", "review", "fixtures/glasshouse-alarms.yaml")
    lines = ended.output.splitlines()

    assert ended.exit_code == 0
    assert lines[0] == "Feed pressure  feedline.pressure, 4 bands, 4 indicators"
    assert "    because: the stack light tells them apart by the place of the lamp" in lines
    assert lines[-1].endswith(" accepted")
    assert "    try: " not in ended.output


def test_a_warning_says_where_what_why_and_what_to_do(hil, tmp_path):
    write(
        tmp_path, ("below: 4.50 bar, dead-band: 0.15 bar", "below: 4.50 bar, dead-band: 0.01 bar")
    )
    ended = hil("alarms", "review", "other.yaml")

    assert ended.exit_code == 0
    assert (
        "other.yaml:25:9: warning AL-204: the dead band 0.01 bar of high, and a resting value "
        "wanders by ± 0.01 bar: it will chatter\n    try: make it wider than 0.02 bar\n"
    ) in ended.output
    assert ended.output.splitlines()[-1].startswith("1 warning, ")


def test_an_error_of_the_review_is_exit_code_two(hil, tmp_path):
    write(tmp_path, ("above: 1.00 bar, below: 3.60 bar", "above: 1.00 bar, below: 3.50 bar"))
    review, check = hil("alarms", "review", "other.yaml"), hil("check", "other.yaml")

    assert review.exit_code == 2
    assert "other.yaml:25:9: error AL-101: 3.55 bar (count 355) is in no band" in review.output
    assert check.exit_code == 2
    assert "other.yaml:25:9: AL-101: 3.55 bar (count 355) is in no band" in check.output


def test_all_mistakes_are_told_at_once(hil, tmp_path):
    write(
        tmp_path, ("normal: normal", "normal: nromal"), ("requirement: GH-AL-20", "reqiurement: x")
    )
    for words in (("alarms", "review"), ("check",)):
        ended = hil(*words, "other.yaml")

        assert ended.exit_code == 2
        assert "other.yaml:21:13: normal: there is no band `nromal`" in ended.output
        assert "a spec has no key `reqiurement`\n    try: requirement" in ended.output


def test_equal_files_compare_equal(hil):
    ended = hil("alarms", "compare", "fixtures/glasshouse-alarms.yaml", "same.yaml")

    assert ended.exit_code == 0
    assert ended.output.splitlines()[-1] == "5 pairs, 0 differences, 0 without partner"


def test_one_quantity_in_two_units_is_no_difference(hil, tmp_path):
    write(tmp_path, ("at-or-above: 4.50 bar", "at-or-above: 450 kPa"))

    assert hil("alarms", "compare", "same.yaml", "other.yaml").exit_code == 0


def test_a_slip_of_units_is_named_in_both_units(hil, tmp_path):
    write(
        tmp_path,
        ("quantity: pressure", "quantity: pressure\n    unit: kPa"),
        ("at-or-above: 4.50 bar,  ", "at-or-above: 4.50 kPa,  "),
    )
    ended = hil("alarms", "compare", "same.yaml", "other.yaml")

    assert ended.exit_code == 2
    assert (
        "AL-704: over: the trip point is 4.50 bar (450 kPa), and 4.50 kPa (0.045 bar): "
        "a factor of 100, with the same number in two units"
    ) in ended.output
    assert "Feed pressure (bar), Feed pressure (kPa)" in ended.output


def test_specs_without_partner_are_told(hil, tmp_path):
    write(
        tmp_path, ("spec: Light", "spec: Daylight"), ("signal: mast.light", "signal: mast.humidity")
    )
    text = (tmp_path / "other.yaml").read_text().replace(" lx", " %")
    (tmp_path / "other.yaml").write_text(text.replace("400 %", "40 %").replace("600 %", "60 %"))
    ended = hil("alarms", "compare", "same.yaml", "other.yaml")

    assert ended.exit_code == 2
    assert "Light (mast.light) has no partner in other.yaml" in ended.output
    assert "Daylight (mast.humidity) has no partner in same.yaml" in ended.output


def test_a_renamed_spec_is_paired_by_its_signal(hil, tmp_path):
    write(tmp_path, ("spec: Light", "spec: Daylight"))

    assert "Light (lx), Daylight (lx)" in hil("alarms", "compare", "same.yaml", "other.yaml").output


def test_check_without_files_reads_the_spec_beside_the_bench(hil):
    ended = hil("check")

    assert ended.exit_code == 0
    assert "plans, " in ended.output
    assert "5 alarm specs, no mistake; the review: " in ended.output


def test_check_takes_every_kind_of_file(hil):
    ended = hil("check", "fixtures/glasshouse.yaml", "same.yaml", "testplans/01-first-steps.yaml")

    assert ended.exit_code == 0
    assert ended.output.startswith("fixtures/glasshouse.yaml: 10 nodes")
    assert "1 plan, 9 cases, no mistake" in ended.output
    assert "5 alarm specs, no mistake" in ended.output


def test_check_tells_the_mistakes_of_every_kind_at_once(hil, tmp_path):
    write(tmp_path, ("normal: normal", "normal: nromal"))
    bench = (tmp_path / "fixtures" / "glasshouse.yaml").read_text()
    (tmp_path / "bench.yaml").write_text(bench.replace("interface: lo", "interfaec: lo", 1))
    (tmp_path / "plan.yaml").write_text("plan: P\ncases: []\n")
    ended = hil("check", "other.yaml", "bench.yaml", "plan.yaml")

    assert ended.exit_code == 2
    for file in ("other.yaml:21:13:", "bench.yaml:", "plan.yaml:2:8:"):
        assert file in ended.output
