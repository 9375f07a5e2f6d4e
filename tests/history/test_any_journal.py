"""Whatever stands in a journal, it is kept or refused, and can be asked about."""

import tempfile
from pathlib import Path

from history.nights import about, of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from report.any_event import JOURNALS
from report.runs import started

from hil.core.error import DescriptionError
from hil.core.event import render
from hil.history.changed import changes
from hil.history.drift import drift_of
from hil.history.keep import keep_run
from hil.history.message import as_mail, as_text
from hil.history.place import place_of
from hil.history.runs import newest
from hil.history.series import Of, Wanted, find_series
from hil.history.shelf import Shelf
from hil.history.told import change_lines, run_lines
from hil.history.trend import Trend
from hil.history.trend_picture import trend_picture
from hil.history.trend_table import trend_lines
from hil.report import journal
from hil.report.about import write_about


def keep(folder: Path, content: bytes) -> int:
    """Keep a journal, ask everything of it; return how many runs are there."""
    (folder / journal.NAME).write_bytes(content)
    write_about(folder, about(0))
    place = place_of(str(folder / "history.sqlite"))
    try:
        keep_run(place, folder)
    except DescriptionError:
        return 0
    shelf = Shelf(place)
    with shelf.reading() as connection:
        runs = newest(connection, 9)
        found = changes(connection, runs[0])
        assert as_text(found)
        assert as_mail(found)
        assert list(run_lines(runs))
        assert list(change_lines(found))
        for of_ in Of:
            drifts = [drift_of(s) for s in find_series(connection, runs, Wanted(), of_, 9)]
            assert list(trend_lines(Trend(drifts=tuple(drifts), steady={}, found=9)))
            assert trend_picture(drifts)
    shelf.close()
    return len(runs)


@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.large_base_example],
)
@given(events=JOURNALS, garbage=st.binary(max_size=30), whole=st.booleans())
def test_any_journal_is_kept_or_refused(events, garbage, whole):
    begin = [started("a", "b")] if whole else []
    lines = [render(event).encode("utf-8", "backslashreplace") for event in [*begin, *events]]
    with tempfile.TemporaryDirectory() as name:
        kept = keep(Path(name), b"\n".join([*lines, garbage, *lines[:2]]))

        assert kept in ((1,) if whole else (0, 1))


@settings(max_examples=30, deadline=None)
@given(cut=st.integers(0, 3_000))
def test_a_journal_cut_anywhere_is_kept_once_it_has_begun(cut):
    content = b"".join(render(event).encode() + b"\n" for event in of("pass", "fail", "error"))
    first = content.index(b"\n") + 1
    with tempfile.TemporaryDirectory() as name:
        assert keep(Path(name), content[:cut]) == (cut >= first)


def test_a_journal_that_names_a_case_twice_is_kept(tmp_path):
    events = [started("a", "a"), *of("pass", "fail")[1:]]
    content = b"".join(render(event).encode() + b"\n" for event in events)

    assert keep(tmp_path, content) == 1
