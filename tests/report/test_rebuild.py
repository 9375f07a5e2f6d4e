"""Reports made again from the journal."""

import json
from dataclasses import replace

import pytest
from report.runs import ABOUT, begun, case, run, started

from hil.core.error import DescriptionError
from hil.core.instant import Instant
from hil.report.about import read_about, write_about
from hil.report.journal import JournalWriter
from hil.report.junit import write_junit
from hil.report.rebuild import rebuild
from hil.report.tally import fold


def journal(folder, events):
    writer = JournalWriter(folder)
    for event in events:
        writer.record(event)
    writer.close()
    write_about(folder, ABOUT)


def test_the_report_made_again_is_the_same(tmp_path):
    journal(tmp_path, run("pass", "fail", "unstable", "skipped"))
    first = write_junit(tmp_path, fold(run("pass", "fail", "unstable", "skipped")), ABOUT)
    before = first.read_bytes()

    assert before == rebuild(tmp_path).junit.read_bytes()


def test_a_killed_run_is_reported(tmp_path):
    titles = [f"case {at}" for at in range(5)]
    events = [started(*titles), *case(0, titles[0], "pass"), *case(1, titles[1], "pass")]
    journal(tmp_path, [*events, begun(2, titles[2])])
    with (tmp_path / "journal.jsonl").open("ab") as file:
        file.write(b'{"at":12,"event":"che')
    found = rebuild(tmp_path)

    words = [case.outcome.word for case in found.result.cases]
    assert words == ["pass", "pass", "error", "not run", "not run"]
    assert found.unreadable == 1


def test_a_killed_run_took_as_long_as_its_journal_knows(tmp_path):
    first, second = "case 0", "case 1"
    broken = replace(begun(1, second), at=Instant(1_000_000_000))
    seen = replace(case(1, second, "fail")[1], at=Instant(3_500_000_000))
    journal(tmp_path, [started(first, second), *case(0, first, "pass"), broken, seen])

    assert [one.took for one in rebuild(tmp_path).result.cases] == [160_000_000, 2_500_000_000]


def test_a_journal_that_tells_nothing_leaves_the_old_report(tmp_path):
    (tmp_path / "journal.jsonl").write_bytes(b"\x00\xff\n")
    (tmp_path / "junit.xml").write_text("old")

    with pytest.raises(DescriptionError, match="tells of no case"):
        rebuild(tmp_path)
    assert (tmp_path / "junit.xml").read_text() == "old"


def test_a_folder_without_a_journal_is_told(tmp_path):
    with pytest.raises(DescriptionError, match=r"journal\.jsonl cannot be read"):
        rebuild(tmp_path)


def test_about_reads_back_as_it_was(tmp_path):
    write_about(tmp_path, ABOUT)

    assert read_about(tmp_path) == ABOUT


@pytest.mark.parametrize("content", ["", "[]", "{}", '{"started": 1}', "[" * 9_999])
def test_an_about_that_is_no_good_is_none(tmp_path, content):
    (tmp_path / "about.json").write_text(content)

    assert read_about(tmp_path) is None


def test_an_about_without_a_date_is_none(tmp_path):
    write_about(tmp_path, ABOUT)
    facts = json.loads((tmp_path / "about.json").read_text()) | {"started": "yesterday"}
    (tmp_path / "about.json").write_text(json.dumps(facts))

    assert read_about(tmp_path) is None
