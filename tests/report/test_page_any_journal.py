"""Whatever stands in a journal, its pages are made, and nothing in it becomes markup."""

import tempfile
from html.parser import HTMLParser
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from report.any_event import JOURNALS
from report.long_run import long_run
from report.runs import run, started

from hil.core.event import render
from hil.report import journal
from hil.report.journal import JournalReader
from hil.report.page.sheet import write_sheet
from hil.report.page.write import write_pages
from hil.report.tally import fold

GARBAGE = st.binary(max_size=30)
CUT = st.integers(0, 400)
OURS = {"html", "head", "body", "meta", "title", "link", "header", "main", "footer", "nav"} | {
    *("section", "article", "h1", "h2", "h3", "h4", "p", "span", "b", "small", "br", "code"),
    *("a", "ul", "ol", "li", "dl", "div", "dt", "dd", "details", "summary", "figure", "img"),
    *("figcaption", "table", "thead", "tbody", "tr", "th", "td"),
}


class Tags(HTMLParser):
    """Collects the names of all elements and attributes of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.elements: set[str] = set()
        self.attributes: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.add(tag)
        self.attributes |= {name for name, _ in attrs}


def make(folder: Path, content: bytes) -> list[Path]:
    (folder / journal.NAME).write_bytes(content)
    result = fold(JournalReader(folder / journal.NAME, datagrams=False))
    write_pages(folder, result, None)
    write_sheet(folder, result, None)
    return [*folder.glob("*.html"), *folder.glob("report/*.html")]


@settings(
    max_examples=120,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.large_base_example],
)
@given(events=JOURNALS, garbage=GARBAGE, cut=CUT)
def test_any_journal_gives_pages_with_our_markup_only(events, garbage, cut):
    lines = [render(event).encode("utf-8", "backslashreplace") for event in events]
    content = b"\n".join([*lines, garbage, *lines[:2]])
    content = content[: max(0, len(content) - cut)]
    with tempfile.TemporaryDirectory() as name:
        for page in make(Path(name), content):
            tags = Tags()
            tags.feed(page.read_text(encoding="utf-8"))

            assert tags.elements <= OURS
            assert not tags.attributes & {"style", "onclick", "onload", "onerror"}


@settings(max_examples=40, deadline=None)
@given(cut=st.integers(0, 6_000))
def test_a_journal_cut_anywhere_gives_pages(cut):
    events = run("pass", "fail", "unstable", "inconclusive", "skipped", "error")
    content = b"".join(render(event).encode() + b"\n" for event in events)
    with tempfile.TemporaryDirectory() as name:
        assert make(Path(name), content[: min(cut, len(content))])


def test_what_a_journal_says_stays_text(tmp_path):
    hostile = "<script>alert(1)</script>\"'><img src=x onerror=y>"
    content = render(started(hostile, plan=hostile)).encode() + b"\n"
    front = (make(tmp_path, content)[0].parent / "report.html").read_text(encoding="utf-8")

    assert "<script" not in front
    assert "&lt;script&gt;" in front


LONG = [render(event).encode() for event in long_run(3, 2)]
BENCH = next(at for at, line in enumerate(LONG) if b'"event":"bench-file"' in line[:60])
CHANGES = st.lists(
    st.tuples(
        st.integers(BENCH + 1, len(LONG) - 1),
        st.integers(0, 200),
        st.sampled_from([b"", b"9", b"-", b"\xff", b'"', b"null", b"1e9", b"[]"]),
    ),
    max_size=8,
)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(changes=CHANGES, order=st.randoms(use_true_random=False), mixed=st.booleans())
def test_a_journal_with_failures_that_was_damaged_gives_pages(changes, order, mixed):
    lines = list(LONG)
    for at, where, octets in changes:
        where = min(where, len(lines[at]))
        lines[at] = lines[at][:where] + octets + lines[at][where + 1 :]
    if mixed:
        order.shuffle(lines)
    with tempfile.TemporaryDirectory() as name:
        assert make(Path(name), b"\n".join(lines) + b"\n")
