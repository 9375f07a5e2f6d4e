"""The pages of a run: complete without a script, whole on the disk, the same for the same journal."""

import errno
import os
from dataclasses import replace
from pathlib import Path

import pytest
from lxml import etree
from report.long_run import long_run
from report.page_run import Page, journalled, made
from report.runs import ABOUT, MISSED, begun, case, ended, over, run, started

from hil.core.error import StoreError
from hil.report.page.gathering import Gathering
from hil.report.page.planpage import CASES_PER_PAGE, PlanPages, page_names
from hil.report.page.write import FOLDER, STYLE, write_pages
from hil.report.rebuild import fold_run, rebuild
from hil.report.tally import fold


def pages(front):
    return [front, *sorted((front.parent / FOLDER).glob("*.html"))]


def test_the_front_page_says_first_whether_the_rack_is_ready(tmp_path):
    text = Page(made(tmp_path, run("pass", "pass"))).text

    assert text.index("READY") < text.index("2 of 2 cases passed") < text.index("Plans and nodes")
    assert "NOT READY" not in text


def test_a_rack_that_is_not_ready_says_what_to_do(tmp_path):
    text = Page(made(tmp_path, run("pass", "fail"))).text

    assert "NOT READY" in text
    assert "louvres: 1 failed" in text
    assert "What to do" in text
    assert "hil run testplans/louvres.yaml --bench fixtures/glasshouse.yaml --virtual" in text


def test_a_failed_case_tells_wanted_got_when_and_by_how_much(tmp_path):
    text = Page(made(tmp_path, run("fail"))).text

    for part in (
        "45.00 deg ± 1.50 deg",
        "within 600 ms",
        "42.10 deg",
        "600 ms",
        "-0.93",
        "60, 10 ms",
    ):
        assert part in text
    assert MISSED.split(", ", 1)[0] in text


def test_a_passed_check_is_told_in_full_on_the_page_of_its_plan(tmp_path):
    front = made(tmp_path, run("pass"))
    text = Page(pages(front)[1]).text

    for part in ("case 0", "45.00 deg ± 1.50 deg", "within 600 ms", "42.10 deg", "+0.40"):
        assert part in text


def test_no_page_has_a_script_or_a_style_of_its_own(tmp_path):
    for path in pages(made(tmp_path, long_run(40, 4))):
        page = Page(path)

        assert not {"script", "style", "iframe", "object", "form"} & set(page.elements)
        assert not [name for name in page.attributes if name == "style" or name.startswith("on")]


def test_no_picture_has_a_style_of_its_own(tmp_path):
    front = made(tmp_path, long_run(40, 4))
    pictures = list((front.parent / FOLDER).glob("*.svg"))

    assert len(pictures) == 4
    for path in pictures:
        root = etree.parse(path).getroot()
        assert not [e for e in root.iter() if e.get("style") or etree.QName(e).localname == "style"]


def test_every_link_and_picture_leads_to_a_file_of_the_folder(tmp_path):
    for path in pages(made(tmp_path, long_run(40, 4))):
        page = Page(path)
        for target in [*page.links, *(source for source, _ in page.pictures)]:
            file, _, anchor = target.partition("#")
            there = (path.parent / file).resolve() if file else path

            assert there.exists(), target
            assert not anchor or anchor in Page(there).anchors, target


def test_every_picture_is_described(tmp_path):
    page = Page(made(tmp_path, long_run(40, 4)))

    assert len(page.pictures) == 4
    for _, words in page.pictures:
        assert "feedline.pressure was" in words


def test_datagrams_are_decoded_by_the_bench_file_in_the_journal(tmp_path):
    text = Page(made(tmp_path, long_run(10, 1))).text

    assert "feedline-reading" in text
    assert "pressure 0.40 bar" in text  # 0.50 bar wanted, 0.80 of it reached


def test_without_a_bench_file_octets_are_shown_and_the_page_says_so(tmp_path):
    events = [event for event in long_run(10, 1) if event.kind != "bench-file"]
    text = Page(made(tmp_path, events)).text

    assert "not decoded: the journal has no layout for it" in text
    assert "31 01" in text


def test_a_bench_file_of_another_time_is_no_mistake(tmp_path):
    events = [
        replace(event, text="bench: [of the future\n") if event.kind == "bench-file" else event
        for event in long_run(10, 1)
    ]

    assert "not decoded" in Page(made(tmp_path, events)).text


def test_the_same_journal_gives_the_same_octets(tmp_path):
    one, other = tmp_path / "one", tmp_path / "other"
    one.mkdir()
    other.mkdir()
    first, second = made(one, long_run(40, 4)), made(other, long_run(40, 4))

    names = sorted(path.relative_to(one) for path in one.rglob("*") if path.is_file())
    assert len(names) > 8
    for name in names:
        assert (one / name).read_bytes() == (other / name).read_bytes(), name
    assert first.name == second.name


def test_a_rebuilt_report_is_the_same(tmp_path):
    front = made(tmp_path, run("pass", "fail", "unstable", "skipped", "not run"))
    (tmp_path / "about.json").unlink(missing_ok=True)
    before = {path: path.read_bytes() for path in pages(front)[1:]}
    rebuild(tmp_path)

    assert before == {path: path.read_bytes() for path in before}


def test_every_attempt_of_an_unstable_case_is_told(tmp_path):
    text = Page(made(tmp_path, run("unstable"))).text

    assert "Attempt 1" in text
    assert "Attempt 2" in text


def test_a_killed_run_names_the_case_in_which_it_ended(tmp_path):
    titles = [f"case {at}" for at in range(4)]
    events = [started(*titles), *case(0, titles[0], "pass"), begun(1, titles[1])]
    text = Page(made(tmp_path, events)).text

    assert "the run ended here" in text
    assert "2 cases did not run: of them nothing is known" in text
    assert "the journal has no last line" in text


def test_lines_that_cannot_be_read_are_counted(tmp_path):
    result = journalled(tmp_path, run("pass"))
    with (tmp_path / "journal.jsonl").open("ab") as file:
        file.write(b'{"at":12,"event":"che')

    assert (
        "1 line of the journal could not be read" in Page(write_pages(tmp_path, result, None)).text
    )


def test_a_plan_of_many_cases_is_told_in_parts(tmp_path):
    titles = [f"case {at}" for at in range(CASES_PER_PAGE + 3)]
    events = [started(*titles)]
    for at, title in enumerate(titles):
        events += [begun(at, title), ended(at, title, "pass")]
    first, second = pages(made(tmp_path, [*events, *over()]))[1:]

    names = sorted([first.name, second.name], key=len)
    assert names == ["plan-01-louvres.html", "plan-01-louvres-2.html"]
    assert Page(tmp_path / FOLDER / names[1]).text.count(" case 4") == 3


def test_checks_without_room_are_left_out_and_that_is_said():
    events = run("pass")
    result, pages = fold(events), PlanPages(room=100)
    gathering = Gathering(pages.tell)
    for event in events:
        gathering.receive(event)
    (page,) = pages.pages(result, page_names(result))

    assert b"its checks are in the journal" in page.content


def test_more_failures_than_the_front_page_tells_are_on_the_pages_of_plans(tmp_path):
    front = made(tmp_path, run(*["fail"] * 130))
    text = Page(front).text

    assert text.count("What did not pass") == 2  # the way there, and the heading
    assert "And 10 more that did not pass" in text
    assert "42.10 deg" in Page(pages(front)[1]).text


def test_files_of_an_earlier_making_go_and_those_of_others_stay(tmp_path):
    (tmp_path / FOLDER).mkdir()
    old, other = tmp_path / FOLDER / "case-00099-1.svg", tmp_path / FOLDER / "notes.txt"
    old.write_text("old")
    other.write_text("mine")
    made(tmp_path, run("pass"))

    assert (old.exists(), other.exists()) == (False, True)


def test_a_folder_that_cannot_be_written_is_told_in_a_sentence(tmp_path):
    result = journalled(tmp_path, run("pass"))
    (tmp_path / FOLDER).write_text("a file where the folder has to be")

    with pytest.raises(StoreError, match=r"report could not be made|report/.* was not written"):
        write_pages(tmp_path, result, ABOUT)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full here")
def test_a_full_disk_leaves_the_old_report(tmp_path):
    front = made(tmp_path, run("pass"))
    before = front.read_bytes()
    result = fold_run(tmp_path).result
    part = tmp_path / f".{STYLE}.{os.getpid()}.part"
    os.symlink("/dev/full", part)

    with pytest.raises(StoreError, match=rf"{STYLE} was not written.*{os.strerror(errno.ENOSPC)}"):
        write_pages(tmp_path, result, ABOUT)
    assert before == front.read_bytes()
