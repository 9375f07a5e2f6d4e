"""Makes the pages of a run from its journal, and writes each so that it is whole or not there.

    report.html   report.css   report/plan-*.html   report/case-*.svg

Two passes: the first tells what passed and keeps what did not, the second fetches the datagrams
around that.  Files of an earlier making that are no longer wanted are taken away at the end.
"""

import contextlib
import re
from collections.abc import Iterator
from pathlib import Path

from hil.core.error import StoreError
from hil.report import journal
from hil.report.about import About
from hil.report.journal import JournalReader
from hil.report.page.decoding import Decoding
from hil.report.page.front import ToldCase, chosen, front_page, tell_case
from hil.report.page.gathering import Gathering
from hil.report.page.planpage import PlanPages, page_names
from hil.report.page.press import style_sheet
from hil.report.page.span import spans_of
from hil.report.page.traffic import add_datagrams
from hil.report.result import RunResult
from hil.report.store import write_whole

NAME = "report.html"
STYLE = "report.css"
FOLDER = "report"
_OURS = re.compile(r"(plan-.*\.html|case-.*\.svg)")


def write_pages(folder: Path, result: RunResult, about: About | None) -> Path:
    """Write the report of a run into its folder; return the front page.

    `result` is the folded journal.  Raises StoreError; what was written before stays whole.
    """
    pages = PlanPages()
    gathering = Gathering(pages.tell)
    reader = JournalReader(folder / journal.NAME, datagrams=False)
    for event in reader:
        gathering.receive(event)
    gathering.finish()
    cases = {case.index: case for case in result.cases}
    wrong = [case for case in chosen(result) if case.index in gathering.kept]
    pages.full = frozenset(case.index for case in wrong)
    for index, dossier in gathering.kept.items():
        if index not in pages.full and index in cases:
            pages.tell(dossier, cases[index])
    dossiers = [gathering.kept[case.index] for case in wrong]
    decoding = Decoding(gathering.bench)
    spans = [span for dossier in dossiers for span in spans_of(dossier)]
    add_datagrams(reader.path, spans, decoding.coap_nodes if spans else ())
    told = [
        tell_case(case, dossier, decoding, result, about)
        for case, dossier in zip(wrong, dossiers, strict=True)
    ]
    return _write(folder, result, about, gathering, pages, told, reader.unreadable)


def _write(
    folder: Path,
    result: RunResult,
    about: About | None,
    gathering: Gathering,
    pages: PlanPages,
    told: list[ToldCase],
    unreadable: int,
) -> Path:
    names = page_names(result)
    inner = folder / FOLDER
    try:
        inner.mkdir(exist_ok=True)
    except OSError as error:
        raise StoreError(f"{inner} could not be made: {error.strerror or error}") from error
    written = set()
    for name, content in _inner_files(result, pages, told, names):
        write_whole(inner / name, content)
        written.add(name)
    write_whole(folder / STYLE, style_sheet())
    front = front_page(result, gathering, told, names, about, unreadable)
    write_whole(folder / NAME, front)
    _tidy(inner, written)
    return folder / NAME


def _inner_files(
    result: RunResult, pages: PlanPages, told: list[ToldCase], names: dict[str, str]
) -> Iterator[tuple[str, bytes]]:
    """Yield the files of the inner folder, made one by one."""
    for one in told:
        for chapter in one.chapters:
            for plot in chapter.plots:
                yield plot.file, plot.content.encode("utf-8", "backslashreplace")
    for page in pages.pages(result, names):
        yield page.file, page.content


def _tidy(inner: Path, wanted: set[str]) -> None:
    """Take away our own files of an earlier making; what cannot be taken away does no harm."""
    with contextlib.suppress(OSError):
        for path in inner.iterdir():
            if path.name not in wanted and _OURS.fullmatch(path.name):
                path.unlink()
