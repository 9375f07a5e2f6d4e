"""The command line, called as people call it, in process."""

import json
import re

import pytest
from click.testing import CliRunner

from hil.cli.main import COMMANDS, main, tell

PLAN = """\
plan: A first look
cases:
  - case: over-pressure turns the stack light red
    tags: [show]
    steps:
      - stimulus: {feedline.pressure: 9.0 bar}
        expect: [{signal: beacon.lamp, value: red, within: 500 ms}]
"""


@pytest.fixture
def hil(tmp_path, request, monkeypatch):
    (tmp_path / "plan.yaml").write_text(PLAN)
    (tmp_path / "fixtures").symlink_to(request.config.rootpath / "fixtures")
    monkeypatch.chdir(tmp_path)
    return lambda *words: CliRunner().invoke(main, words)


@pytest.mark.parametrize("name", COMMANDS)
def test_the_table_of_commands_says_what_the_commands_say(name, hil):
    text = hil(name, "--help").output

    assert COMMANDS[name][1] in " ".join(text.split())


def test_a_virtual_run_prints_lines_and_a_summary(hil):
    ended = hil("run", "plan.yaml", "--virtual")
    lines = ended.output.splitlines()

    assert ended.exit_code == 0
    assert lines[0] == "1 case on glasshouse"
    assert lines[1].startswith(
        "pass          A first look: over-pressure turns the stack light red  "
    )
    assert "READY: 1 of 1 case passed" in lines
    assert lines[-1] == "exit code 0: something ran and all of it passed"
    assert "\x1b" not in ended.output


def test_a_listing_opens_nothing(hil, tmp_path):
    ended = hil("run", "plan.yaml", "--list")

    assert ended.exit_code == 0
    assert "expect  beacon.lamp: red within 500 ms" in ended.output
    assert not (tmp_path / "reports").exists()


def test_a_bench_alone_is_checked_where_no_plans_are(hil):
    ended = hil("check", "--bench", "fixtures/first-node.yaml")

    assert ended.output == "fixtures/first-node.yaml: 1 node, 3 signals, no mistake\n"


def test_a_run_without_plans_says_what_to_name(hil):
    ended = hil("run", "--virtual")

    assert ended.exit_code == 2
    assert "testplans: no such folder is here\n    try: name the plan files" in ended.output


@pytest.mark.parametrize(
    ("bench", "hint"),
    [
        ("fixtures/glashouse.yaml", "    try: fixtures/glasshouse.yaml"),
        ("benches/mine.yaml", "    try: there is no folder benches here"),
    ],
)
def test_a_file_that_is_not_there_is_looked_for(hil, bench, hint):
    ended = hil("check", "--bench", bench)

    assert ended.exit_code == 2
    assert f"{bench}: cannot be read: No such file or directory\n{hint}" in ended.output


def test_a_slip_in_a_filter_is_exit_code_two(hil):
    ended = hil("run", "plan.yaml", "--virtual", "--only", "presure")

    assert ended.exit_code == 2
    assert "try: --only 'over-pressure'" in ended.output


def test_all_mistakes_of_a_plan_are_told_at_once(hil, tmp_path):
    wrong = PLAN.replace("500 ms", "500").replace("9.0 bar", "9.0")
    (tmp_path / "plan.yaml").write_text(wrong)
    for words in (("check", "plan.yaml"), ("run", "plan.yaml", "--virtual")):
        ended = hil(*words)

        assert ended.exit_code == 2
        assert "plan.yaml:6:" in ended.output
        assert "plan.yaml:7:" in ended.output
        assert "2 mistakes, nothing ran" in ended.output


def test_a_check_without_mistakes_counts(hil):
    ended = hil("check", "plan.yaml")

    assert ended.exit_code == 0
    assert "1 plan, 1 case, no mistake" in ended.output


def test_a_file_that_is_not_there_is_exit_code_two(hil):
    assert [
        hil("run", "nowhere.yaml", "--virtual").exit_code,
        hil("run", "plan.yaml", "--virtual", "--bench", "nowhere.yaml").exit_code,
    ] == [2, 2]


@pytest.mark.parametrize("kind", ["bench", "plan", "alarms"])
def test_a_schema_is_json(hil, kind):
    ended = hil("schema", kind)

    assert json.loads(ended.output)["$schema"].startswith("https://json-schema.org/")


def test_a_rebuild_has_the_exit_code_of_its_run(hil, tmp_path):
    (tmp_path / "plan.yaml").write_text(PLAN.replace("value: red", "value: green, hold: 400 ms"))
    ran = hil("run", "plan.yaml", "--virtual")
    again = hil("rebuild", "reports/latest")

    assert (ran.exit_code, again.exit_code) == (1, 1)
    assert again.output.startswith("NOT READY: beacon: 1 failed")


def test_a_rebuild_of_a_folder_that_is_no_runs_is_a_wrong_argument(hil, tmp_path):
    """Nothing was to be written yet: the one who named the folder can put it right, not the disk."""
    (tmp_path / "empty").mkdir()
    ended = hil("rebuild", "empty")

    assert ended.exit_code == 2
    assert "journal.jsonl cannot be read" in ended.output


@pytest.mark.parametrize("tag", ["", " "])
def test_a_tag_without_a_letter_is_refused(hil, tag):
    ended = hil("run", "plan.yaml", "--virtual", "--tag", tag)

    assert ended.exit_code == 2
    assert "expected a tag, got an empty text" in ended.output


def test_virtual_and_served_exclude_each_other(hil):
    assert hil("run", "plan.yaml", "--virtual", "--served").exit_code == 2


def test_the_seed_of_an_order_is_the_first_thing_that_is_said(hil):
    for words in (("--virtual",), ("--list",)):
        ended = hil("run", "plan.yaml", "--shuffle", "7", *words)

        assert ended.output.startswith("in an order drawn from seed 7\n")


def test_one_of_a_thing_is_not_several(hil):
    texts = [
        hil("check", "plan.yaml", "--bench", "fixtures/first-node.yaml").output,
        hil("run", "plan.yaml", "--list").output,
        hil("run", "plan.yaml", "--virtual").output,
        hil("run", "plan.yaml", "--virtual", "--only", "presure").output,
    ]

    assert not re.findall(r"\b1 (?:cases|nodes|signals|plans|lines|mistakes)\b", "\n".join(texts))


def test_an_unknown_command_gets_a_suggestion(hil):
    ended = hil("chekc")

    assert ended.exit_code == 2
    assert "there is no command 'chekc'\n    try: hil check" in ended.output


def test_evidence_that_cannot_be_begun_is_exit_code_five(hil, tmp_path):
    (tmp_path / "reports").write_text("")

    assert hil("run", "plan.yaml", "--virtual").exit_code == 5


def test_a_bug_of_ours_is_exit_code_four_with_the_traceback(capsys):
    try:
        raise ZeroDivisionError("a slip of ours")
    except ZeroDivisionError as error:
        code = tell(error)

    told = capsys.readouterr().err
    assert code == 4
    assert "Traceback" in told
    assert "ZeroDivisionError: a slip of ours" in told
    assert "this is a bug of the tool" in told


@pytest.mark.parametrize(
    ("command", "why"),
    [("sh 'x", "no closing quotation"), ("", "there is no command"), ("   ", "there is no command"),
     ("/nope/teller --now", "no program /nope/teller is here")],
)  # fmt: skip
def test_a_command_for_changes_that_cannot_be_called_is_refused_before_anything_moves(
    hil, tmp_path, command, why
):
    ended = hil("run", "plan.yaml", "--virtual", "--if-changed", command)

    assert ended.exit_code == 2
    assert why in " ".join(ended.output.split())
    assert not (tmp_path / "reports").exists()


def judged(hil, tmp_path, spoil):
    """Run, spoil the journal, judge it again."""
    hil("run", "plan.yaml", "--virtual", "--no-history")
    journal = tmp_path / "reports" / "latest" / "journal.jsonl"
    journal.write_text(spoil(journal.read_text()))
    return hil("judge", "reports/latest", "--reports", "again")


def test_a_recording_with_a_datagram_that_is_no_octets_is_judged_without_it(hil, tmp_path):
    ended = judged(hil, tmp_path, lambda text: text.replace('"hex":"21', '"hex":"zz', 1))

    assert ended.exit_code == 0, ended.output
    assert "1 datagram of the recording could not be read" in ended.output
    assert "nothing was driven: a recording was judged" in ended.output
    assert "signals are back" not in ended.output


def test_lines_of_a_recording_that_cannot_be_read_are_counted(hil, tmp_path):
    ended = judged(hil, tmp_path, lambda text: text[:-20])

    assert "1 line of the journal could not be read" in ended.output


@pytest.mark.parametrize("source", ["fixtures", "reports/latest/journal.jsonl"])
def test_what_is_no_run_is_no_recording(hil, source):
    hil("run", "plan.yaml", "--virtual", "--no-history")
    ended = hil("judge", source)

    assert ended.exit_code == 2
    assert "cannot be judged again" in ended.output and "try: name" in ended.output


def test_a_capture_that_was_cut_short_is_told(hil, tmp_path):
    hil("run", "plan.yaml", "--virtual", "--no-history")
    capture = tmp_path / "reports" / "latest" / "capture.pcapng"
    (tmp_path / "cut.pcapng").write_bytes(capture.read_bytes()[:-10])
    where = ("--plan", "plan.yaml", "--bench", "fixtures/glasshouse.yaml", "--reports", "again")
    ended = hil("judge", "cut.pcapng", *where)

    assert "the capture is cut short: its last " in ended.output
