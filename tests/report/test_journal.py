"""The journal: whole lines, a full disk, killed writers, any bytes."""

import contextlib
import json
import subprocess
import sys

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from report.runs import check, run

from hil.core.error import StoreError
from hil.core.event import Datagram, NodeNoted, render, render_datagram
from hil.core.instant import Instant
from hil.report.journal import JournalReader, JournalWriter, read_line
from hil.report.junit import build_junit
from hil.report.tally import fold


def write(folder, events):
    journal = JournalWriter(folder)
    for event in events:
        journal.record(event)
    journal.close()
    return journal


def test_every_event_reads_back_as_it_was(tmp_path):
    events = run("pass", "fail", "unstable", "skipped", "error")
    journal = write(tmp_path, events)

    assert events == list(JournalReader(journal.path))


def test_a_line_is_on_its_way_to_the_disk_before_the_next_event(tmp_path):
    journal = JournalWriter(tmp_path)
    seen = []
    for event in run("pass"):
        journal.record(event)
        seen.append(journal.path.read_bytes().count(b"\n"))

    assert list(range(1, len(seen) + 1)) == seen


@settings(deadline=None)
@given(st.integers(0, 2**62), st.sampled_from(("in", "out")), st.text(max_size=9), st.binary())
def test_a_datagram_without_an_event_is_the_same_line(at, way, node, octets):
    event = Datagram(at=Instant(at), way=way, node=node, hex=octets.hex())

    assert render(event) == render_datagram(Instant(at), way, node, octets)


_AT = st.one_of(st.integers(-3, 2**65), st.sampled_from(("007", "1.0", "1e3", "true", "")))
_NODE = st.sampled_from(("mast", "vane-1", "", "Ä", '\\"', "a b"))
_HEX = st.sampled_from(("", "0a", "0A", "zz", "\\u0030"))
_END = st.sampled_from(("\n", "", " \n", "\r\n", ',"more":1}\n'))


@settings(deadline=None)
@given(_AT, st.sampled_from(("in", "out", "on")), _NODE, _HEX, _END)
@example(7, "in", "mast", "0a", "\n")
@example("007", "in", "mast", "0a", "\n")
@example(2**63, "in", "mast", "0a", "\n")
@example(7, "in", '\\"', "0a", "\n")
@example(7, "on", "mast", "0A", ',"more":1}\n')
def test_a_datagram_is_read_as_json_says_whatever_the_line_is(at, way, node, octets, end):
    shown = f'"event":"datagram","way":"{way}","node":"{node}","hex":"{octets}"}}{end}'
    fast, slow = (f'{{"at":{at},{blank}{shown}'.encode() for blank in ("", " "))

    assert read_line(fast) == read_line(slow)


def test_datagrams_stand_among_the_events_in_their_order(tmp_path):
    (first, *rest), journal = run("pass"), JournalWriter(tmp_path)
    journal.record(first)
    journal.record_datagram(Instant(7), "out", "feedline", b"\x21\x01")
    for event in rest:
        journal.record(event)
    journal.close()

    sent = Datagram(at=Instant(7), way="out", node="feedline", hex="2101")
    assert [first, sent, *rest] == list(JournalReader(journal.path))


def test_the_same_events_give_the_same_bytes(tmp_path):
    (tmp_path / "one").mkdir()
    (tmp_path / "two").mkdir()
    first = write(tmp_path / "one", run("pass", "fail")).path.read_bytes()
    second = write(tmp_path / "two", run("pass", "fail")).path.read_bytes()

    assert first == second


def test_an_existing_journal_is_never_overwritten(tmp_path):
    write(tmp_path, run("pass"))

    with pytest.raises(StoreError, match="was not begun"):
        JournalWriter(tmp_path)


def test_datagrams_may_be_passed_over(tmp_path):
    datagram = Datagram(at=Instant(3), way="in", node="mast", hex="00ff")
    journal = write(tmp_path, [*run("pass"), datagram])

    assert datagram in list(JournalReader(journal.path))
    assert datagram not in list(JournalReader(journal.path, datagrams=False))


def test_text_that_is_no_text_is_kept(tmp_path):
    odd = NodeNoted(at=Instant(1), node="mast", trouble="garbled", text="\udc80 \x00 \U0001f600")
    journal = write(tmp_path, [odd])

    assert [odd] == list(JournalReader(journal.path))


@pytest.mark.parametrize("cut", range(1, 200, 7))
def test_a_line_cut_short_costs_that_line_only(tmp_path, cut):
    journal = write(tmp_path, run("pass", "fail"))
    whole = list(JournalReader(journal.path))
    with journal.path.open("r+b") as file:
        file.truncate(journal.path.stat().st_size - cut)
    reader = JournalReader(journal.path)
    read = list(reader)

    assert read == whole[: len(read)]
    assert len(whole) - 2 <= len(read) < len(whole)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.binary(max_size=60), max_size=5))
def test_any_bytes_are_read_without_an_error(tmp_path_factory, lines):
    path = tmp_path_factory.mktemp("bytes") / "journal.jsonl"
    path.write_bytes(b"\n".join(lines) + b"\n")

    fold(JournalReader(path))


@pytest.mark.parametrize(
    "at", ["1e999", "-1e999", "NaN", "Infinity", "1e9", '"1"', "null", "[]", str(1 << 70)]
)
def test_an_instant_that_is_none_makes_a_line_that_cannot_be_read(tmp_path, at):
    path = tmp_path / "journal.jsonl"
    line = f'{{"event":"disturbed","index":0,"step":1,"place":"","at":{at}}}\n'
    path.write_text(line + line.replace(f'"at":{at}', '"at":5'))
    reader = JournalReader(path)

    assert [event.at for event in reader] == [5]
    assert reader.unreadable == 1


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=5,
)


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_events_with_fields_of_wrong_types_are_passed_over(tmp_path_factory, data):
    events = [json.loads(render(event)) for event in run("fail")]
    victim = data.draw(st.sampled_from(events))
    victim[data.draw(st.sampled_from(sorted(victim)))] = data.draw(JSON)
    path = tmp_path_factory.mktemp("types") / "journal.jsonl"
    path.write_text("".join(json.dumps(event) + "\n" for event in events))
    reader = JournalReader(path)

    with contextlib.suppress(StoreError):  # another index makes a second case of the same title
        build_junit(fold(reader), None)
    assert reader.unreadable <= 1


def test_deep_nesting_is_passed_over(tmp_path):
    path = tmp_path / "journal.jsonl"
    path.write_bytes(b"[" * 100_000 + b"\n")
    reader = JournalReader(path)

    assert list(reader) == []
    assert reader.unreadable == 1


FILL = """
import resource, sys
from pathlib import Path
sys.path.insert(0, "tests")
from report.runs import run
from hil.core.event import Datagram
from hil.core.instant import Instant
from hil.report.journal import JournalWriter
journal = JournalWriter(Path(sys.argv[1]))
limit = 4096
resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
for at in range(100):
    journal.record(Datagram(at=Instant(at), way="in", node="mast", hex="00" * 50))
for event in run("pass", "fail"):
    journal.record(event)
journal.close()
print(journal.fault)
"""


def test_a_full_disk_is_told_and_leaves_whole_lines(tmp_path):
    ended = subprocess.run(
        [sys.executable, "-c", FILL, str(tmp_path)], capture_output=True, text=True, check=True
    )
    reader = JournalReader(tmp_path / "journal.jsonl")

    assert len(list(reader)) > 10
    assert reader.unreadable == 0
    assert f"{tmp_path}/journal.jsonl is not complete" in ended.stdout
    assert "bytes (File too large)" in ended.stdout
    assert not (tmp_path / ".reserve").exists()


def test_a_folder_that_cannot_be_written_is_told_before_anything_moves(tmp_path):
    with pytest.raises(StoreError, match="was not begun"):
        JournalWriter(tmp_path / "not there")


def test_margins_without_meaning_are_passed_over(tmp_path):
    path = tmp_path / "journal.jsonl"
    path.write_text(render(check(0, "pass")).replace('"margin":0.4', '"margin":NaN') + "\n")
    reader = JournalReader(path)

    assert list(reader) == []
    assert reader.unreadable == 1
