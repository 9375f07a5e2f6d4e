"""The evidence of a failed case: its own datagrams, in words, and the values they carried."""

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

from report.long_run import CASE, MILLISECOND, long_run
from report.page_run import gathered, journalled
from report.runs import check

from hil.core.event import BenchFile, ConsoleLine, Datagram
from hil.core.instant import Instant
from hil.report import journal
from hil.report.page.decoding import Decoding
from hil.report.page.dossier import CONSOLE, LINES_KEPT, Chapter
from hil.report.page.evidence import FIRST, LAST, Evidence
from hil.report.page.span import decision, spans_of
from hil.report.page.traffic import add_datagrams, token_of
from hil.wire.coap.code import Code
from hil.wire.coap.message import Message, Type, encode
from hil.wire.coap.option import Option

ROOT = Path(__file__).parents[2]


def bench(name):
    text = (ROOT / "fixtures" / f"{name}.yaml").read_text(encoding="utf-8")
    return BenchFile(at=Instant(0), file=f"fixtures/{name}.yaml", digest="", text=text)


def failed_case(folder, cases=6, failed=1):
    """Return the dossier of the first failed case, with its datagrams, and the decoding."""
    events = list(long_run(cases, failed))
    journalled(folder, events)
    gathering = gathered(events)
    dossier = gathering.kept[min(gathering.kept)]
    decoding = Decoding(gathering.bench)
    add_datagrams(folder / journal.NAME, list(spans_of(dossier)), decoding.coap_nodes)
    return dossier, decoding


def sent(node, message, way="in", at=0):
    return Datagram(at=Instant(at), way=way, node=node, hex=encode(message).hex())


def test_a_case_has_the_datagrams_around_its_failure_and_no_others(tmp_path):
    dossier, _ = failed_case(tmp_path)
    times = [datagram.at for datagram in dossier.datagrams]

    assert len(times) == 12
    assert 0 <= min(times) <= max(times) < CASE


def test_the_value_in_force_before_the_stimulus_is_known(tmp_path):
    events = list(long_run(2, 2))
    journalled(tmp_path, events)
    second = gathered(events).kept[1]
    add_datagrams(tmp_path / journal.NAME, list(spans_of(second)))

    assert second.before["feedline"].at < CASE
    assert second.before["feedline"].at == max(
        event.at for event in events if isinstance(event, Datagram) and event.at < CASE
    )


def test_a_check_that_failed_is_plotted_from_what_the_datagrams_say(tmp_path):
    dossier, decoding = failed_case(tmp_path)
    (plot,) = Evidence(dossier, decoding).plots(dossier.chapters[0])

    assert plot.file == "case-00001-1.svg"
    assert "12 looks at feedline.pressure" in plot.words


def test_datagrams_are_told_with_what_changed_and_what_the_check_is_about(tmp_path):
    dossier, decoding = failed_case(tmp_path)
    (traffic,) = Evidence(dossier, decoding).traffic(dossier.chapters[0])
    first, second = traffic.rows[:2]

    assert ("firmware", "1.4.2", False) in first.changed
    assert "firmware" not in [name for name, _, _ in second.changed]
    assert ("pressure", "0.07 bar", True) in second.changed
    assert second.since - first.since == 20 * MILLISECOND


def test_of_many_datagrams_the_first_and_those_at_the_decision_are_told(tmp_path):
    dossier, decoding = failed_case(tmp_path)
    one = dossier.datagrams[0]
    dossier.datagrams[:] = [replace(one, at=Instant(at * MILLISECOND)) for at in range(1, 251)]
    (traffic,) = Evidence(dossier, decoding).traffic(dossier.chapters[0])

    assert len(traffic.rows) == FIRST + LAST
    assert traffic.skipped == 250 - FIRST - LAST
    assert traffic.rows[0].since == 0
    assert traffic.rows[-1].since == 249 * MILLISECOND


def test_an_octet_that_was_changed_is_told_as_such(tmp_path):
    dossier, decoding = failed_case(tmp_path)
    good = dossier.datagrams[0]
    told = decoding.tell(replace(good, hex=good.hex[:-2] + "00"))

    assert told.parts == ()
    assert "CRC" in told.wrong


def test_silence_is_decided_at_the_deadline_and_a_change_when_it_came():
    silent = check(0, "fail", stimulus=100, elapsed=None, timing=(("within", 50),), at=Instant(999))
    changed = replace(silent, elapsed=20)

    assert (decision(silent), decision(changed)) == (150, 120)


def test_a_coap_response_is_read_by_the_request_that_bears_its_token():
    decoding = Decoding(bench("propagator"))
    request = sent(
        "bed", Message(Type.CONFIRMABLE, Code.GET, 7, b"\x0a", ((Option.URI_PATH, b"mat"),)), "out"
    )
    response = sent(
        "bed",
        Message(
            Type.ACKNOWLEDGEMENT, Code.CONTENT, 7, b"\x0a", (), b'{"duty": 80, "heating": true}'
        ),
    )
    asked = {("bed", token_of(request.hex)): request}
    told = {sample.signal: sample.value for sample in decoding.samples(response, asked)}

    assert {"bed.mat.duty": Decimal(80), "bed.mat.state": "heating"} == told
    assert decoding.samples(response, {}) == []


def test_a_coap_message_is_told_in_words():
    message = Message(Type.CONFIRMABLE, Code.GET, 7, b"\x0a", ((Option.URI_PATH, b"mat"),))
    told = Decoding(bench("propagator")).tell(sent("bed", message, "out"))

    assert told.layout.startswith("CON")
    assert "mat" in str(told.parts)


def test_octets_that_are_no_coap_message_are_told_as_such():
    odd = Datagram(at=Instant(0), way="in", node="bed", hex="ff")

    assert "no CoAP message" in Decoding(bench("propagator")).tell(odd).wrong


def test_a_line_on_a_console_is_read_by_the_patterns_of_the_bench_file():
    text = "status boots=1 rate=50 valve=open tank=800 flow=24 state=dosing fault=none power=run"
    decoding = Decoding(bench("doser"))
    line = ConsoleLine(at=Instant(9), node="doser", text=text)
    told = {sample.signal: sample.value for sample in decoding.line_samples(line)}

    assert told["doser.flow"] == Decimal("2.4")
    assert told["doser.state"] == "dosing"
    assert decoding.line_samples(replace(line, way="out")) == []
    assert decoding.line_samples(replace(line, text="boot")) == []


def test_of_a_long_console_the_first_and_the_last_lines_are_kept():
    chapter = Chapter(number=1, began=0)
    for at in range(LINES_KEPT + 50):
        chapter.receive(ConsoleLine(at=Instant(at), node="doser", text=str(at)))

    assert chapter.console[0].kind == CONSOLE
    assert (chapter.console[0].text, chapter.console[-1].text) == ("0", str(LINES_KEPT + 49))
    assert (len(chapter.console), chapter.unkept) == (LINES_KEPT, 50)
