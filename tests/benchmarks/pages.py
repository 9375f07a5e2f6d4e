"""The report of 10,000 cases, 100 of them failed: making it, its size, opening it; JUnit beside it.

The limits are those that a reader feels: 10 s to write, 20 MB to carry, 2 s to open.  JUnit is
held against lxml, a C library, with the same tree: making and serialising it, the same into a file
that is synced and read back, and, which no Python reaches, serialising a tree that is there.
"""

import shutil
import tempfile
import time
import xml.etree.ElementTree as ET
from pathlib import Path

from benchmarks.measure import Figure, best, median_pair, show_time
from lxml import etree
from report.long_run import write_long_run
from report.runs import ABOUT

from hil.report.junit import build_junit, write_junit
from hil.report.page.write import FOLDER, NAME, STYLE, write_pages
from hil.report.rebuild import fold_run
from hil.report.result import RunResult
from hil.report.store import write_whole

CASES, FAILED = 10_000, 100
WRITTEN_SECONDS, CARRIED_BYTES, OPENED_SECONDS = 10.0, 20_000_000, 2.0


def figures() -> list[Figure]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_long_run(folder, CASES, FAILED)
        result = fold_run(folder).result
        written = best(lambda: write_pages(folder, result, ABOUT), 3)
        pages = [folder / NAME, folder / STYLE, *(folder / FOLDER).iterdir()]
        size = sum(path.stat().st_size for path in pages)
        return [
            Figure(
                what="pages of 10,000 cases, 100 failed with plots, written",
                value=show_time(written),
                floor=show_time(WRITTEN_SECONDS),
                ratio=written / WRITTEN_SECONDS,
                limit=1.0,
            ),
            Figure(
                what="the same, size of all files",
                value=f"{size / 1e6:.1f} MB",
                floor=f"{CARRIED_BYTES / 1e6:.0f} MB",
                ratio=size / CARRIED_BYTES,
                limit=1.0,
            ),
            *_opening(folder / NAME),
            *_junit(folder, result),
        ]


def _opening(page: Path) -> list[Figure]:
    """Open the front page in Chromium, from the file system; nothing where there is none."""
    program = shutil.which("chromium")
    if program is None:
        return []
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        times = []
        for _ in range(3):
            tab = browser.new_page()
            began = time.perf_counter()
            tab.goto(page.as_uri())
            times.append(time.perf_counter() - began)
            tab.close()
        browser.close()
    return [
        Figure(
            what="the same, front page opened in Chromium with all plots",
            value=show_time(min(times)),
            floor=show_time(OPENED_SECONDS),
            ratio=min(times) / OPENED_SECONDS,
            limit=1.0,
        )
    ]


def _junit(folder: Path, result: RunResult) -> list[Figure]:
    tree = ET.fromstring(build_junit(result, ABOUT))
    same = _copied(tree)

    def serialised() -> bytes:
        return etree.tostring(_copied(tree), encoding="utf-8", xml_declaration=True)

    built, made = median_pair(lambda: build_junit(result, ABOUT), serialised)
    ours, theirs = median_pair(
        lambda: write_junit(folder, result, ABOUT),
        lambda: write_whole(folder / "bare.xml", serialised()),
    )
    serialising = best(lambda: etree.tostring(same, encoding="utf-8", xml_declaration=True))
    return [
        Figure(
            what="JUnit of 10,000 cases: folded result to document",
            value=show_time(built),
            floor=f"lxml {show_time(made)}",
            ratio=built / made,
            limit=3.0,
        ),
        Figure(
            what="the same to a synced file, read back and counted",
            value=show_time(ours),
            floor=f"lxml {show_time(theirs)}",
            ratio=ours / theirs,
            limit=3.0,
        ),
        Figure(
            what="the same, against serialising a tree that is there",
            value=show_time(ours),
            floor=f"lxml {show_time(serialising)}",
            ratio=ours / serialising,
            limit=3.0,
        ),
    ]


def _copied(tree: ET.Element) -> "etree._Element":
    """Return the same tree in lxml, made element by element."""
    root = etree.Element(tree.tag, dict(tree.attrib))
    pairs = [(tree, root)]
    while pairs:
        old, new = pairs.pop()
        new.text, new.tail = old.text, old.tail
        pairs += [(child, etree.SubElement(new, child.tag, child.attrib)) for child in old]
    return root
