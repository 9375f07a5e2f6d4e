"""What the firmware said stands beside a failure, and however much it is, reports stay small."""

import gzip
import re
import xml.etree.ElementTree as ET

import pytest
from report.runs import ABOUT, begun, check, ended, over, started

from hil.core.error import StoreError
from hil.core.event import CommandLogged, ConsoleLine, Event
from hil.core.instant import Instant
from hil.report.console_log import ConsoleLogs, log_line, log_name, rebuild_logs
from hil.report.journal import JournalWriter
from hil.report.junit import SIZE_LIMIT, build_junit
from hil.report.line import text_of
from hil.report.story import case_lines
from hil.report.summary import summarise
from hil.report.tally import Tally, fold

MS = 1_000_000


def said(at, text, node="louvres", way="in", **more):
    return ConsoleLine(at=Instant(int(at * MS)), node=node, text=text, way=way, **more)


def run(*events: Event, outcome="fail"):
    """Return a run of one case in which these events lie."""
    title = "it stops"
    return fold(
        [
            started(title),
            said(0, "before the case"),
            begun(0, title),
            *events,
            *([check(0, outcome)] if outcome != "error" else []),
            said(900, "put back"),
            ended(0, title, outcome),
            *over(),
        ]
    )


def shown(result):
    return "\n".join(text_of(line) for line in summarise(result))


def test_a_failed_case_tells_what_the_firmware_said_before_the_check_failed():
    text = shown(run(said(100, "stalled: 3 A"), said(50, "set angle 45", way="out")))

    assert "console of louvres, all before that:" in text
    assert re.search(r"0\.100 s  stalled: 3 A", text)
    assert re.search(r"0\.050 s  > set angle 45", text)
    assert "before the case" not in text
    assert "put back" not in text


def test_a_passed_case_tells_nothing_of_it():
    assert "console of" not in shown(run(said(100, "fine"), outcome="pass"))


def test_only_the_last_lines_that_differ_are_told_on_the_terminal():
    lines = [said(i, f"line {i % 30}") for i in range(300)]
    text = shown(run(*lines))

    assert "the last 8 different lines of 300 before that:" in text
    assert text.count("  line ") == 8


def test_a_console_of_another_node_is_not_told():
    assert "console of mast" not in shown(run(said(10, "hello", node="mast")))


def test_a_node_that_was_only_commanded_is_told():
    command = CommandLogged(
        at=Instant(1),
        token=1,
        signal="mast.lamp",
        value="on",
        purpose="stimulus",
        state="lost",
        detail="",
    )

    assert "console of mast, all before that:" in shown(run(command, said(2, "oh", node="mast")))


def test_a_node_that_nobody_is_sure_of_is_told():
    events = (started("t"), begun(0, "t"), said(2, "brown-out", node="mast"))
    end = ended(0, "t", "inconclusive", "nobody knows who is there", unsure=("mast",))

    assert "console of mast, all:" in shown(fold([*events, end, *over()]))


def test_a_run_that_was_killed_in_a_case_still_tells_it():
    tally = Tally()
    for event in (started("t"), begun(0, "t"), check(0, "pass"), said(5, "panic at 0x20")):
        tally.receive(event)

    assert "panic at 0x20" in "\n".join(case_lines(tally.result().cases[0]))


def test_what_a_console_says_cannot_harm_a_terminal_or_a_document():
    result = run(said(1, "\x1b[2J\x00 ]]> </failure> &"))
    document = build_junit(result, ABOUT)

    assert "\x1b" not in shown(result)
    assert ET.fromstring(document) is not None
    assert b"\\x1b[2J\\x00 ]]&gt; &lt;/failure&gt; &amp;" in document


# elasticsearch PR 151400, junit-plugin #467: one block of captured output of hundreds of megabytes.
def test_a_console_that_prints_400_megabytes_leaves_the_report_small():
    line = "x" * 4_000
    tally = Tally()
    for event in (started("t"), begun(0, "t")):
        tally.receive(event)
    for number in range(100_000):
        tally.receive(said(number / 1e6, line))
    for event in (check(0, "fail"), ended(0, "t", "fail"), *over()):
        tally.receive(event)
    document = build_junit(tally.result(), ABOUT)

    assert len(document) < SIZE_LIMIT // 100
    assert "99940 lines, 400 MB left out, all of it is in console-louvres.log" in document.decode()


# --- the log ------------------------------------------------------------------------------------


def test_a_line_of_the_log_has_its_time_and_who_said_it():
    assert log_line(said(1_234.5, "ok")) == "       1.234500   ok\n"
    assert log_line(said(0, "go", way="out")) == "       0.000000 > go\n"
    assert log_line(said(0, "aaa", cut=True)) == "       0.000000   aaa …\n"
    assert log_line(said(0, "\x1b[2J")) == "       0.000000   \\x1b[2J\n"


@pytest.mark.parametrize("node", ["servo-1", "../../etc", "a b"])
def test_a_log_stays_in_its_folder(tmp_path, node):
    logs = ConsoleLogs(tmp_path)
    logs.receive(said(1, "x", node=node))
    logs.close()

    assert [path.name for path in tmp_path.iterdir()] == [log_name(node)]


def test_a_log_is_there_while_the_run_goes_on(tmp_path):
    logs = ConsoleLogs(tmp_path)
    logs.receive(said(1, "so far"))

    assert (tmp_path / "console-louvres.log").read_text().endswith("so far\n")
    logs.close()


def test_a_large_log_is_packed_and_whole(tmp_path):
    logs = ConsoleLogs(tmp_path, packed_from=50_000)
    for number in range(5_000):
        logs.receive(said(number, f"line {number}"))
    logs.close()
    [path] = tmp_path.iterdir()

    assert path.name == "console-louvres.log.gz"
    assert gzip.decompress(path.read_bytes()).count(b"\n") == 5_000


def test_a_full_disk_is_told_once_and_stops_nothing(tmp_path):
    full = tmp_path / "console-louvres.log"
    full.symlink_to("/dev/full")
    logs = ConsoleLogs(tmp_path)
    for number in range(3):
        logs.receive(said(number, "x"))
    logs.receive(said(9, "y", node="mast"))
    logs.close()

    assert len(logs.faults) == 1
    assert "console-louvres.log is not complete" in str(logs.faults[0])
    assert (tmp_path / "console-mast.log").exists()


def test_logs_are_made_again_from_the_journal(tmp_path):
    journal = JournalWriter(tmp_path)
    for event in (said(1, "é \\xff", hex="c3a920ff"), said(2, "go", way="out")):
        journal.record(event)
    journal.close()
    rebuild_logs(tmp_path)

    text = (tmp_path / "console-louvres.log").read_text(encoding="utf-8")
    assert text == "       0.001000   é \\xff\n       0.002000 > go\n"


def test_a_journal_that_is_not_there_is_told(tmp_path):
    with pytest.raises(StoreError, match="cannot be read"):
        rebuild_logs(tmp_path)
