"""Runs on paper made into pages, for tests of those."""

from collections.abc import Iterable
from html.parser import HTMLParser
from pathlib import Path

from report.runs import ABOUT

from hil.core.event import Event
from hil.report import journal
from hil.report.journal import JournalReader, JournalWriter
from hil.report.page.gathering import Gathering
from hil.report.page.write import write_pages
from hil.report.result import RunResult
from hil.report.tally import fold


def journalled(folder: Path, events: Iterable[Event]) -> RunResult:
    """Write the journal of these events; return it folded."""
    writer = JournalWriter(folder)
    for event in events:
        writer.record(event)
    writer.close()
    return fold(JournalReader(folder / journal.NAME, datagrams=False))


def made(folder: Path, events: Iterable[Event]) -> Path:
    """Make the pages of these events; return the front page."""
    return write_pages(folder, journalled(folder, events), ABOUT)


def gathered(events: Iterable[Event]) -> Gathering:
    """Return what the pages know of these events, but the datagrams."""
    gathering = Gathering(lambda dossier, case: None)
    for event in events:
        gathering.receive(event)
    gathering.finish()
    return gathering


class Page(HTMLParser):
    """A page as a reader meets it: its words, elements, links, pictures and their descriptions."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.elements: list[str] = []
        self.attributes: set[str] = set()
        self.links: list[str] = []
        self.pictures: list[tuple[str, str]] = []
        self.anchors: set[str] = set()
        self._words: list[str] = []
        self.feed(path.read_text(encoding="utf-8"))

    @property
    def text(self) -> str:
        """The words of the page, one blank between them."""
        return " ".join(" ".join(self._words).split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        self.elements.append(tag)
        self.attributes |= given.keys()
        if tag in ("a", "link"):
            self.links.append(given.get("href", ""))
        if tag == "img":
            self.pictures.append((given.get("src", ""), given.get("alt", "")))
        if "id" in given:
            self.anchors.add(given["id"])

    def handle_data(self, data: str) -> None:
        self._words.append(data)
