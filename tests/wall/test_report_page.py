"""The pages in a real browser, under the rules of build servers and from the file system."""

import re
from itertools import pairwise
from pathlib import Path

import pytest
from report.page_run import journalled
from report.runs import ABOUT, run
from wall.page_served import CHROMIUM, POLICY, WEAK_TEXTS, chromium, opened, served

from hil.core.event import BusHealth
from hil.core.instant import Instant
from hil.core.verdict import Outcome
from hil.report.page.sheet import write_sheet
from hil.report.page.write import write_pages
from hil.report.rebuild import fold_run
from hil.runner.options import Options
from hil.runner.run import run_plans

ROOT = Path(__file__).parents[2]
VERDICTS = ("pass", "fail", "unstable", "inconclusive", "skipped", "error", "not run")
LOOKS = [("light", "screen"), ("dark", "screen"), ("light", "print")]
PAGES = [
    *("demo/report.html", "demo/sheet.html", "demo/report/plan-01-feed-pressure.html"),
    *("verdicts/report.html", "verdicts/sheet.html", "verdicts/report/plan-01-louvres.html"),
]

pytestmark = [
    pytest.mark.wall,
    pytest.mark.skipif(CHROMIUM is None, reason="there is no chromium here"),
]


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """Serve two reports: of the demo with one limit shifted, and of every verdict there is."""
    folder = tmp_path_factory.mktemp("site")
    (folder / "demo").symlink_to(demo(folder))
    verdicts = folder / "verdicts"
    verdicts.mkdir()
    result = journalled(verdicts, [*run(*VERDICTS), *bus()])
    write_pages(verdicts, result, ABOUT)
    write_sheet(verdicts, result, ABOUT)
    with served(folder) as where:
        yield where, folder


def bus():
    """Return what a node told of its signal quality, which nobody measured for a while."""
    told = ("6 of 7", "not measured", "4 of 7")
    return [
        BusHealth(at=Instant(at), who="louvres", facts=(("louvres.quality", how),))
        for at, how in enumerate(told)
    ]


def demo(folder):
    """Run plans on software nodes whose red limit is not that of the specification."""
    text = (ROOT / "fixtures" / "glasshouse.yaml").read_text(encoding="utf-8")
    setting = "    feed-red: 4.50 bar "
    assert text.count(setting) == 1
    (folder / "bench.yaml").write_text(text.replace(setting, "    feed-red: 4.70 bar "))
    plans = ("02-feed-pressure.yaml", "17-alarms.yaml")
    options = Options(
        plans=tuple(str(ROOT / "testplans" / plan) for plan in plans),
        bench=str(folder / "bench.yaml"),
        virtual=True,
        reports=str(folder / "reports"),
    )
    made = run_plans(options, say=lambda text: None).folder
    folded = fold_run(made)
    write_sheet(made, folded.result, folded.about)
    return made


@pytest.fixture(scope="module")
def browser():
    with chromium() as started:
        yield started


@pytest.mark.parametrize("page", PAGES)
def test_a_page_is_complete_under_the_rules_of_build_servers(site, browser, page):
    with opened(browser, f"{site[0]}/{page}") as (seen, said):
        pictures = seen.evaluate("[...document.images].map(one => [one.naturalWidth, one.alt])")
        widest = seen.evaluate("getComputedStyle(document.body).maxWidth")
        rules = seen.request.get(f"{site[0]}/{page}").headers["content-security-policy"]

        assert said == []
        assert rules == POLICY
        assert widest.endswith("px")  # the style sheet is in force
        assert all(width > 0 and len(words) > 20 for width, words in pictures)
        assert len(pictures) >= 8 or page != "demo/report.html"


@pytest.mark.parametrize("page", PAGES)
def test_every_text_stands_out_from_its_ground(site, browser, page):
    with opened(browser, f"{site[0]}/{page}") as (seen, _):
        for scheme, media in LOOKS:
            seen.emulate_media(color_scheme=scheme, media=media)
            texts, weak = seen.evaluate(WEAK_TEXTS, 4.5)  # WCAG 2.1, success criterion 1.4.3

            assert weak == [], (scheme, media)
            assert texts > 20


def test_in_the_dark_plots_are_turned_over_and_alarm_colours_are_not(site, browser):
    asked = "[...document.images].map(one => [one.src, getComputedStyle(one).filter != 'none'])"
    with opened(browser, f"{site[0]}/demo/report.html") as (seen, _):
        looks = {}
        for scheme, media in [*LOOKS, ("dark", "print")]:
            seen.emulate_media(color_scheme=scheme, media=media)
            looks[scheme, media] = seen.evaluate(asked)
    dark = looks.pop(("dark", "screen"))

    assert {turned for source, turned in dark if "/case-" in source} == {True}
    assert {turned for source, turned in dark if "/alarm-" in source} == {False}
    assert not any(turned for look in looks.values() for _, turned in look)


@pytest.mark.parametrize("page", PAGES)
def test_headings_are_in_order_and_names_are_given_once(site, browser, page):
    with opened(browser, f"{site[0]}/{page}") as (seen, _):
        levels = seen.evaluate(
            "[...document.querySelectorAll('h1,h2,h3,h4')].map(one => +one.tagName[1])"
        )
        names = seen.evaluate("[...document.querySelectorAll('[id]')].map(one => one.id)")

        assert levels[0] == 1
        assert levels.count(1) == 1
        assert all(deeper <= level + 1 for level, deeper in pairwise(levels))
        assert len(names) == len(set(names))


def test_every_line_of_the_bus_has_its_words_and_stands_out_from_its_ground(site, browser):
    asked = """[...document.querySelectorAll('svg.course')].map(one => [
        one.getAttribute('role'), one.getAttribute('aria-label'),
        ...['line', 'gap'].map(name => getComputedStyle(one.querySelector('.' + name)).stroke),
        getComputedStyle(document.body).backgroundColor])"""
    with opened(browser, f"{site[0]}/verdicts/report.html") as (seen, _):
        for scheme, media in LOOKS:
            seen.emulate_media(color_scheme=scheme, media=media)
            ((role, words, *strokes, ground),) = seen.evaluate(asked)

            assert role == "img"
            assert words.startswith("louvres.quality of louvres: 6 of 7 first, 4 of 7 last")
            # WCAG 2.1, success criterion 1.4.11: graphical objects
            assert all(ratio(stroke, ground) >= 3 for stroke in strokes), (scheme, media)


def ratio(one, other):
    """Return the contrast of two colours of a browser: WCAG 2.1, relative luminance."""
    lights = []
    for colour in (one, other):
        parts = [int(part) / 255 for part in re.findall(r"\d+", colour)[:3]]
        red, green, blue = (
            part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
        )
        lights.append(0.2126 * red + 0.7152 * green + 0.0722 * blue)
    return (max(lights) + 0.05) / (min(lights) + 0.05)


def test_without_its_colours_every_verdict_is_still_a_word(site, browser):
    words = {outcome.word for outcome in Outcome} | {"not proven"}
    with opened(browser, f"{site[0]}/verdicts/report.html") as (seen, _):
        verdicts = seen.locator(".v").all_text_contents()
        fields = seen.locator("td.c:not(.none)").all_text_contents()
    told = {text.strip().split(" ", 1)[1] for text in verdicts}

    assert told <= words
    assert len(told) == len(VERDICTS)
    assert fields
    assert all(any(word in text for word in words) for text in fields)


@pytest.mark.parametrize("page", PAGES)
def test_a_narrow_window_needs_no_sideways_scrolling(site, browser, page):
    with opened(browser, f"{site[0]}/{page}", width=390) as (seen, _):
        wide, room = seen.evaluate(
            "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
        )

        assert wide <= room


def test_the_report_opens_from_the_file_system(site, browser):
    with opened(browser, (site[1] / "demo" / "report.html").as_uri()) as (seen, said):
        widths = seen.evaluate("[...document.images].map(one => one.naturalWidth)")
        seen.click("text=Feed pressure >> nth=0")
        seen.wait_for_url("**/plan-01-feed-pressure.html")

        assert said == []
        assert all(widths)


def test_the_sheet_of_ten_nodes_is_one_page_of_paper(site, browser):
    with opened(browser, f"{site[0]}/demo/sheet.html", media="print") as (seen, _):
        paper = seen.pdf(format="A4")

    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 1


def test_on_paper_folded_parts_are_unfolded(site, browser):
    with opened(browser, f"{site[0]}/demo/report/plan-01-feed-pressure.html") as (seen, _):
        seen.evaluate("document.querySelectorAll('details').forEach(one => { one.open = false })")
        folded = seen.locator("details.case table").first
        on_screen = folded.is_visible()
        seen.emulate_media(media="print")

        assert (on_screen, folded.is_visible()) == (False, True)
