"""What changed, as text, as mail, and as lines for a terminal."""

import re
from html.parser import HTMLParser

import pytest
from history.nights import about, history, mark, night, of

from hil.core.event import RunEnded
from hil.core.instant import Instant
from hil.history.changed import changes
from hil.history.message import as_mail, as_text
from hil.history.runs import newest
from hil.history.told import change_lines
from hil.report.line import plain

HOSTILE = "a <script>alert(1)</script> & \x1b[31m"


@pytest.fixture
def changed(tmp_path, reading):
    def go(*nights):
        connection = reading(history(tmp_path, nights))
        return changes(connection, newest(connection, 1)[0])

    return go


def test_a_message_says_what_changed_and_nothing_else(changed):
    text = as_text(changed(of("pass", "fail", "fail", "pass"), of("fail", "fail", "pass", "pass")))

    assert text == (
        "glasshouse:virtual: 1 newly broken, 1 still broken, 1 fixed\n"
        f"{about(1).run} against {about(0).run}\n"
        "\n"
        "NEWLY BROKEN (1)\n"
        "- Louvres: a\n"
        "  pass → fail: step 1: it was wrong\n"
        "\n"
        "STILL BROKEN (1)\n"
        "- Louvres: b\n"
        "  fail, for 2 runs, since 2026-10-01 01:00:00: step 1: it was wrong\n"
        "\n"
        "FIXED (1)\n"
        "- Louvres: c\n"
        "  fail → pass\n"
        "\n"
        "2 of 4 cases passed\n"
    )


LONG = "nothing was moved, not every node is ready: " + "; ".join(
    f"node-{number}: no reading from 127.0.0.1:4780{number} within 3 s" for number in range(9)
)


def killed(*titles):
    """Return a night that was stopped before anything moved."""
    ends = RunEnded(at=Instant(9), outcome="error", counts={}, aborted=LONG, safe=True)
    return [*night(*((title, "not run", {}) for title in titles))[:-1], ends]


def test_an_unreachable_rack_is_told_once_and_briefly(changed):
    found = changed(of("pass", "pass", "pass"), killed("a", "b", "c"))
    lines = plain(list(change_lines(found))).splitlines()

    assert lines[0].startswith("glasshouse:virtual: run stopped: nothing was moved, not every")
    assert len(lines[0]) < 140
    assert [line.strip() for line in lines[-4:-1]] == ["a  Louvres", "b  Louvres", "c  Louvres"]
    assert lines[-1].startswith("        all 3: not run: the run ended before this case began")
    assert lines[-1].endswith(" …")
    assert len(lines[-1]) < 270


def test_many_with_one_reason_are_told_with_it_once(changed):
    text = as_text(changed(of(*["pass"] * 4), of(*["fail"] * 4)))

    assert text.count("it was wrong") == 1
    assert "- Louvres: d\n  all 4: pass → fail: step 1: it was wrong\n" in text


def test_nothing_changed_is_said(changed):
    text = as_text(changed(of("pass"), of("pass")))

    assert text.startswith("glasshouse:virtual: nothing changed\n")


def test_known_faults_to_see_to_are_in_it(changed):
    over = night(("a", "fail", {}), extra=[mark(until="2026-10-01")])
    text = as_text(changed(night(("a", "fail", {}), extra=[mark()]), over))

    assert "vane 2 stops short (K-17) counts no longer: its last day was 2026-10-01" in text


class _Page(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.names, self.open, self.text = set(), set(), [], []

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.names |= {name for name, _ in attrs}
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


def test_a_mail_is_well_formed_and_fetches_and_runs_nothing(changed):
    page = _Page()
    mail = as_mail(changed(of("pass"), night((HOSTILE, "fail", {"text": "x < y"}))))
    page.feed(mail)

    assert page.open == []
    assert page.tags <= {
        "html", "head", "meta", "title", "style", "body", "h1", "h2", "p", "br", "div", "table",
        "tr", "th", "td", "span", "ul", "li",
    }  # fmt: skip
    assert page.names <= {"lang", "charset", "class", "colspan"}
    assert not re.search(r"url\(|@import|https?:", mail)
    assert "a <script>alert(1)</script> & \\x1b[31m" in "".join(page.text)


def test_text_and_mail_say_the_same(changed):
    found = changed(of("pass", "fail", "fail"), of("fail", "fail", "pass"))
    page = _Page()
    page.feed(as_mail(found))
    told = "".join(page.text)

    for line in as_text(found).splitlines():
        for part in re.sub(r"^[- ]+|^[A-Z ]+ \(\d+\)$", "", line).split(": "):
            assert part in told


def test_many_are_counted(changed):
    titles = [f"case {number}" for number in range(45)]
    found = changed(
        night(*((t, "pass", {}) for t in titles)), night(*((t, "fail", {}) for t in titles))
    )

    assert as_text(found).count("\n- Louvres: ") == 30
    assert "- and 15 more" in as_text(found)
    assert "and 15 more" in as_mail(found)
    assert "    and 25 more" in plain(list(change_lines(found)))
