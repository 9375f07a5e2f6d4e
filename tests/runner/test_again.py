"""Recorded runs judged again: the same plans give the same verdicts, other tolerances new ones."""

import json
import struct
from decimal import Decimal
from pathlib import Path

import pytest

from hil.core.errand import Prompt, Replied, Reply, Unmanned
from hil.core.error import DescriptionError
from hil.core.event import (
    CaseEnded,
    CheckDecided,
    CommandLogged,
    Datagram,
    OperatorAnswered,
    OperatorAsked,
)
from hil.core.instant import Instant
from hil.core.observation import Command, CommandLost, CommandSent, Purpose
from hil.files.read import read_rack
from hil.report.capture.headers import unwrap
from hil.report.capture.pcapng import LinkType, begin, packet, read
from hil.report.journal import JournalReader
from hil.report.page.sheet import write_sheet
from hil.report.summary import readiness
from hil.runner.again.again import judge_again
from hil.runner.again.answer import UNANSWERED, Answers
from hil.runner.again.fate import NOT_THERE, Fates
from hil.runner.options import Options
from hil.runner.run import run_plans

BENCH = "fixtures/glasshouse.yaml"
PLAN = """\
plan: Again
cases:
  - case: pressure is shown and the light is red
    precondition: {beacon.lamp: green}
    steps:
      - stimulus: {feedline.pressure: 4.8 bar}
        expect:
          - {signal: beacon.lamp, value: red, within: 150 ms, hold: 100 ms}
          - {signal: console.feed-reading, value: 4.8 bar, tolerance: 0.1 bar, within: 200 ms}
      - stimulus: {feedline.pressure: 2.4 bar}
        expect: [{signal: beacon.lamp, value: green, within: 300 ms}]
  - case: a vane reaches its angle
    steps:
      - stimulus: {louvres.vane-1.angle: 30 deg}
        expect: [{signal: louvres.vane-1.position, value: 30 deg, tolerance: 1.5 deg, within: 600 ms, hold: 100 ms}]
"""


@pytest.fixture
def recorded(tmp_path):
    plan = tmp_path / "plan.yaml"
    plan.write_text(PLAN)
    options = Options(plans=(str(plan),), virtual=True, reports=str(tmp_path / "reports"))
    finished = run_plans(options, say=lambda text: None)
    assert finished.code == 0
    return finished.folder, plan


def again(recorded, text=PLAN):
    folder, plan = recorded
    plan.write_text(text)
    return judge_again(folder, (), "", folder.parent, ("hil", "judge"))


def checks(folder):
    return [
        (e.index, e.step, e.signal, e.outcome, e.got, e.elapsed, e.margin, e.text)
        for e in JournalReader(folder / "journal.jsonl")
        if isinstance(e, CheckDecided)
    ]


def ends(folder):
    journal = JournalReader(folder / "journal.jsonl")
    return [event.outcome for event in journal if isinstance(event, CaseEnded)]


def outcomes(judged):
    return [case.outcome.word for case in judged.result.cases]


def test_the_same_plans_give_the_same_verdicts_check_by_check(recorded):
    judged = again(recorded)

    assert outcomes(judged) == ["pass", "pass"]
    assert checks(judged.folder) == checks(recorded[0])


def test_what_passed_only_when_it_was_tried_again_is_unstable_again(tmp_path):
    """The first attempt leaves the vane on its way; the second one finds it there."""
    plan = tmp_path / "plan.yaml"
    plan.write_text(
        "plan: Slow\ncases:\n  - case: a vane is quick\n    restore: no\n    steps:\n"
        "      - stimulus: {louvres.vane-1.angle: 60 deg}\n"
        "        expect: [{signal: louvres.vane-1.position, between: 58 deg to 62 deg, within: 130 ms}]\n"
    )
    options = Options(
        plans=(str(plan),), virtual=True, reports=str(tmp_path / "reports"), retries=1
    )
    finished = run_plans(options, say=lambda text: None)
    assert [case.outcome.word for case in finished.result.cases] == ["unstable"]

    judged = again((finished.folder, plan), plan.read_text())

    assert outcomes(judged) == ["unstable"]
    assert ends(judged.folder) == ends(finished.folder) == ["fail", "unstable"]


def test_the_parts_of_a_response_are_the_same_again(tmp_path):
    """Where the time goes is told by every exchange that was recorded before."""
    plan = tmp_path / "plan.yaml"
    plan.write_text(
        "plan: Parts\ncases:\n  - case: the time goes where it should\n    steps:\n"
        "      - wait: 3 s\n"
        "        stimulus: {feedline.pressure: 4.8 bar}\n"
        "        expect:\n"
        "          - {signal: beacon.lamp, value: red, within: 150 ms, processing: 120 ms,"
        " outward: 1 ms, return: 20 ms}\n"
    )
    options = Options(plans=(str(plan),), virtual=True, reports=str(tmp_path / "reports"))
    finished = run_plans(options, say=lambda text: None)
    assert finished.code == 0

    assert checks(again((finished.folder, plan), plan.read_text()).folder) == checks(
        finished.folder
    )


def test_a_proof_that_puts_back_by_itself_is_judged_to_its_end(tmp_path):
    alarms = Path("fixtures/glasshouse-alarms.yaml").resolve()
    plan = tmp_path / "plan.yaml"
    plan.write_text(
        "plan: Proof\ncases:\n  - case: amber comes where the spec says\n    steps:\n"
        f'      - prove: {{alarms: {alarms}, only: "Feed pressure, high: trip point"}}\n'
    )
    options = Options(plans=(str(plan),), virtual=True, reports=str(tmp_path / "reports"))
    finished = run_plans(options, say=lambda text: None)
    assert finished.code == 0

    assert outcomes(again((finished.folder, plan), plan.read_text())) == ["pass"]


def test_what_was_judged_again_can_be_judged_once_more(recorded):
    once = again(recorded)
    twice = judge_again(once.folder, (), "", once.folder.parent, ())

    assert checks(twice.folder) == checks(recorded[0])


@pytest.mark.parametrize(
    ("old", "new", "wanted"),
    [
        ("tolerance: 1.5 deg", "tolerance: 5 deg", ["pass", "pass"]),
        (
            "value: 4.8 bar, tolerance: 0.1 bar, within: 200 ms",
            "value: 9 bar, tolerance: 0.1 bar, within: 20 ms",
            ["fail", "pass"],
        ),
        (
            "tolerance: 1.5 deg, within: 600 ms",
            "tolerance: 1.5 deg, within: 20 ms",
            ["pass", "fail"],
        ),
        (
            "value: red, within: 150 ms, hold: 100 ms",
            "value: red, within: 150 ms, hold: 2 s",
            ["inconclusive", "pass"],
        ),
    ],
)
def test_a_changed_plan_gives_new_verdicts(recorded, old, new, wanted):
    assert old in PLAN

    assert outcomes(again(recorded, PLAN.replace(old, new))) == wanted


def test_what_was_put_back_before_it_was_decided_is_in_doubt(recorded):
    judged = again(recorded, PLAN.replace("within: 300 ms}", "within: 300 ms, hold: 2 s}"))
    first, second = judged.result.cases

    assert (first.outcome.word, second.outcome.word) == ("inconclusive", "pass")
    assert "what was driven was put back there" in first.reasons[-1]


def test_a_late_bench_of_the_recording_excuses_what_failed_then(recorded):
    journal = recorded[0] / "journal.jsonl"
    lines = journal.read_text().splitlines()
    step = next(
        place for place, line in enumerate(lines) if '"step":1' in line and "step-started" in line
    )
    at = json.loads(lines[step])["at"]
    note = {
        "at": at,
        "event": "host-note",
        "trouble": "host late",
        "amount": 9,
        "text": "9 ms late",
    }
    lines.insert(step + 1, json.dumps(note))
    journal.write_text("\n".join(lines) + "\n")
    wrong = PLAN.replace("value: 4.8 bar, tolerance: 0.1 bar", "value: 9 bar, tolerance: 0.1 bar")

    assert outcomes(again(recorded, wrong.replace("within: 200 ms", "within: 20 ms"))) == [
        "inconclusive",
        "pass",
    ]


def test_a_plan_that_is_not_judged_by_keeps_its_title_and_is_told_as_that(recorded):
    folder, plan = recorded
    other = plan.with_name("other.yaml")
    other.write_text(PLAN.replace("plan: Again", "plan: Other"))

    finished = judge_again(folder, (str(other),), "", folder.parent, ("hil", "judge"))

    assert [(each.title, len(each.cases)) for each in finished.result.plans] == [("Again", 2)]
    reasons = {reason for case in finished.result.plans[0].cases for reason in case.reasons}
    assert reasons == {"none of the plans given is called 'Again'"}


def test_a_case_that_the_plan_no_longer_has_is_skipped(recorded):
    judged = again(recorded, PLAN.replace("a vane reaches", "the vane reaches"))

    assert outcomes(judged) == ["pass", "skipped"]


def test_a_damaged_end_of_a_case_that_never_began_is_in_doubt(recorded):
    path = recorded[0] / "journal.jsonl"
    lines = [json.loads(line) for line in path.read_text().splitlines()]
    first = [line for line in lines if line.get("index") == 0]
    for line in first:
        if line["event"] == "case-ended":
            line["outcome"] = "no such word"
        elif line["event"] != "case-started":
            lines.remove(line)
    path.write_text("".join(f"{json.dumps(line)}\n" for line in lines))
    judged = again(recorded)

    assert judged.result.ended.outcome == "inconclusive"


def test_the_evidence_says_what_it_was_judged_from(recorded):
    judged = again(recorded)
    (note,) = [note for note in judged.result.host_notes if note.trouble == "judged again"]

    assert recorded[0].name in note.text and "nothing was driven" in note.text


@pytest.mark.parametrize(
    ("within", "said"),
    [("within: 200 ms", "PASSED: 2 of 2"), ("within: 1 ms", "NOT PASSED: console")],
)
def test_a_recording_is_never_said_to_be_ready(recorded, within, said):
    judged = again(recorded, PLAN.replace("within: 200 ms", within))
    page = (judged.folder / "report.html").read_text(encoding="utf-8")
    sheet = write_sheet(judged.folder, judged.result, None).read_text(encoding="utf-8")

    assert readiness(judged.result).startswith(said)
    for text in (page, sheet):
        assert f"Judged again from {recorded[0].name}: nothing was driven." in text
        assert f"<span>{said.partition(':')[0]}</span>" in text


def test_a_folder_without_a_journal_is_refused(tmp_path):
    (tmp_path / "journal.jsonl").write_text("")

    with pytest.raises(DescriptionError, match="cannot be judged again"):
        judge_again(tmp_path, (), "", tmp_path, ())


# --- people, CoAP, consoles ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bench", "plan", "cases"),
    [
        ("glasshouse", "18-operator", 4),
        ("propagator", "propagator", 15),
        ("doser", "doser", 8),
        ("annexe", "annexe", 4),
    ],
)
def test_whatever_nodes_speak_the_same_plan_gives_the_same_verdicts(tmp_path, bench, plan, cases):
    options = Options(
        plans=(f"testplans/{plan}.yaml",),
        bench=f"fixtures/{bench}.yaml",
        virtual=True,
        reports=str(tmp_path),
    )
    folder = run_plans(options, say=lambda text: None).folder
    judged = judge_again(folder, (), "", tmp_path, ())

    assert outcomes(judged) == ["pass"] * cases
    assert checks(judged.folder) == checks(folder) != []


@pytest.mark.parametrize(
    ("bench", "old", "new", "wanted"),
    [
        ("propagator", "value: heating, within: 300 ms, hold", "value: cold, within: 90 ms, hold", "fail"),
        ("doser", "value: 0 mL/min, during", "value: 1 mL/min, tolerance: 0.5 mL/min, during", "fail"),
    ],
)  # fmt: skip
def test_a_changed_value_of_a_coap_or_console_node_gives_new_verdicts(
    tmp_path, bench, old, new, wanted
):
    text = Path(f"testplans/{bench}.yaml").read_text(encoding="utf-8")
    assert old in text
    plan = tmp_path / "plan.yaml"
    plan.write_text(text)
    where = f"fixtures/{bench}.yaml"
    options = Options(plans=(str(plan),), bench=where, virtual=True, reports=str(tmp_path / "r"))
    folder = run_plans(options, say=lambda text: None).folder
    plan.write_text(text.replace(old, new))

    assert wanted in outcomes(judge_again(folder, (), "", tmp_path / "r", ()))


LOOK = """\
plan: Again
cases:
  - case: the lamp is red
    steps:
      - stimulus: {beacon.lamp: red}
        expect: [{signal: beacon.lamp, value: red, within: 150 ms}]
      - ask: {look: does the lamp look red?, within: 20 s}
"""


@pytest.fixture
def asked(tmp_path):
    """Record a run in which a person was asked, and answered what is put into its journal."""
    plan = tmp_path / "plan.yaml"
    plan.write_text(LOOK)
    reports = str(tmp_path / "reports")
    options = Options(plans=(str(plan),), virtual=True, reports=reports, terminal="none")
    folder = run_plans(options, say=lambda text: None).folder

    def answered(**said):
        journal = folder / "journal.jsonl"
        lines = [json.loads(line) for line in journal.read_text().splitlines()]
        for line in lines:
            if line["event"] == "operator-answered":
                line.update(said)
        journal.write_text("".join(json.dumps(line) + "\n" for line in lines))
        return folder, plan

    return answered


@pytest.mark.parametrize(
    ("answer", "outcome"), [("yes", "pass"), ("no", "fail"), ("can't tell", "inconclusive")]
)
def test_a_person_s_answer_counts_again(asked, answer, outcome):
    judged = again(asked(answer=answer, by="person"), LOOK)
    (told,) = [
        e for e in JournalReader(judged.folder / "journal.jsonl") if isinstance(e, OperatorAnswered)
    ]

    assert outcomes(judged) == [outcome]
    assert (told.answer, told.by) == (answer, "person")


def test_another_answer_is_wanted_now(asked):
    wanted = LOOK.replace("red?, within", "red?, answer: no, within")

    assert outcomes(again(asked(answer="no", by="person"), wanted)) == ["pass"]


def test_an_answer_to_another_question_is_none(asked):
    judged = again(asked(answer="yes", by="person"), LOOK.replace("look red", "look green"))

    assert outcomes(judged) == ["inconclusive"]
    assert "cannot be judged from this recording" in judged.result.cases[0].reasons[-1]


def test_where_nobody_could_be_asked_nobody_answers_now(asked):
    judged = again(asked(), LOOK)

    assert outcomes(judged) == ["inconclusive"]
    assert "nobody could be asked when this was recorded" in judged.result.cases[0].reasons[0]


@pytest.mark.parametrize(
    ("index", "text", "now", "found"),
    [
        (0, "open?", 10, True),
        (0, "open?", 51, False),
        (1, "open?", 10, False),
        (0, "shut?", 10, False),
    ],
)
def test_an_answer_belongs_to_its_case_its_words_and_what_is_asked_before_it(
    index, text, now, found
):
    asked = OperatorAsked(
        at=Instant(5), index=0, step=1, what="look", text="open?", within=99, stand_in="", place=""
    )  # fmt: skip
    answered = OperatorAnswered(
        at=Instant(50), index=0, step=1, what="look", text="open?", answer="no", by="person", took=45
    )  # fmt: skip
    prompt = Prompt(token=9, act=False, text=text, until=Instant(200))
    said = Answers([asked, answered]).take(prompt, index, Instant(now))

    assert said == ((50, Replied(token=9, at=Instant(50), reply=Reply.NO)) if found else None)


@pytest.mark.parametrize(
    ("by", "answer", "at", "stand_in", "found"),
    [
        ("person", "yes", 50, "", Replied(token=9, at=Instant(50), reply=Reply.YES)),
        ("person", "no such answer", 50, "", None),
        ("person", "yes", 50, "set mast.sun", None),
        ("bench", "yes", 50, "", None),
        ("nobody", "nothing", 104, "", Unmanned(at=Instant(104), text=UNANSWERED)),
        ("nobody", "nothing", 105, "", None),
        ("nobody", "seen", 50, "", None),
    ],
)
def test_only_what_a_person_said_is_an_answer_and_only_in_time_nobody_is_nobody(
    by, answer, at, stand_in, found
):
    """Who let the time run out was there all the same: silence is not given as an answer."""
    asked = OperatorAsked(
        at=Instant(5), index=0, step=1, what="act", text="open it", within=99, stand_in=stand_in, place=""
    )  # fmt: skip
    answered = OperatorAnswered(
        at=Instant(at), index=0, step=1, what="act", text="open it", answer=answer, by=by, took=45
    )  # fmt: skip
    prompt = Prompt(token=9, act=True, text="open it", until=Instant(200))
    said = Answers([asked, answered]).take(prompt, 0, Instant(10))

    assert said == (None if found is None else (at, found))


def test_a_console_that_is_not_in_the_recording_is_said(tmp_path):
    plan, bench = "testplans/doser.yaml", "fixtures/doser.yaml"
    options = Options(plans=(plan,), bench=bench, virtual=True, reports=str(tmp_path))
    folder = run_plans(options, say=lambda text: None).folder
    journal = folder / "journal.jsonl"
    kept = [line for line in journal.read_text().splitlines() if '"console-line"' not in line]
    journal.write_text("\n".join(kept) + "\n")
    judged = judge_again(folder, (), "", tmp_path, ())
    capture = judge_again(folder / "capture.pcapng", (plan,), bench, tmp_path, ())

    assert set(outcomes(judged)) == set(outcomes(capture)) == {"skipped"}
    assert "is not in this recording" in judged.result.cases[0].reasons[0]
    assert "is in no capture" in capture.result.cases[0].reasons[0]


# --- captures ----------------------------------------------------------------------------------


def from_capture(recorded, text=PLAN, capture=None, bench=BENCH):
    folder, plan = recorded
    plan.write_text(text)
    source = folder / "capture.pcapng" if capture is None else capture
    return judge_again(source, (str(plan),) if bench else (), bench, folder.parent, ())


def test_a_bare_capture_gives_the_same_verdicts_as_the_run(recorded):
    judged = from_capture(recorded)
    known = {check[:4] for check in checks(recorded[0])}

    assert outcomes(judged) == ["pass", "pass"]
    assert {check[:4] for check in checks(judged.folder)} == known


@pytest.mark.parametrize(
    ("old", "new", "wanted"),
    [
        ("value: 4.8 bar, tolerance: 0.1 bar, within: 200 ms", "value: 9 bar, tolerance: 0.1 bar, within: 20 ms", ["fail", "pass"]),
        ("tolerance: 1.5 deg, within: 600 ms", "tolerance: 1.5 deg, within: 20 ms", ["pass", "fail"]),
        ("angle: 30 deg", "angle: 30.0 deg", ["pass", "pass"]),
        ("angle: 30 deg", "angle: 31 deg", ["pass", "skipped"]),
    ],
)  # fmt: skip
def test_a_capture_is_judged_by_what_the_plan_says_now(recorded, old, new, wanted):
    assert outcomes(from_capture(recorded, PLAN.replace(old, new, 1))) == wanted


def test_somebody_elses_capture_in_another_format_and_framing_is_judged(recorded, tmp_path):
    # the older format, Ethernet, with frames in it that concern nobody
    octets = struct.pack("<IHHIIII", 0xA1B23C4D, 2, 4, 0, 0, 65_535, LinkType.ETHERNET)
    for one in read((recorded[0] / "capture.pcapng").read_bytes()):
        for frame in (bytes(12) + b"\x08\x06" + bytes(28), bytes(12) + b"\x08\x00" + one.octets):
            seconds, rest = divmod(one.at, 1_000_000_000)
            octets += struct.pack("<IIII", seconds, rest, len(frame), len(frame)) + frame
    other = tmp_path / "other.pcap"
    other.write_bytes(octets)

    assert outcomes(from_capture(recorded, capture=other)) == ["pass", "pass"]


def test_a_capture_without_the_answers_is_no_failure_of_a_node(recorded, tmp_path):
    nodes = {node.address for node in read_rack(BENCH).nodes}
    whole = list(read((recorded[0] / "capture.pcapng").read_bytes()))
    asked = [one for one in whole if unwrap(one.octets, one.link).destination in nodes]
    half = tmp_path / "half.pcapng"
    half.write_bytes(begin("x", "", "") + b"".join(packet(one) for one in asked))

    assert outcomes(from_capture(recorded, capture=half)) == ["inconclusive", "inconclusive"]


@pytest.mark.parametrize(
    ("content", "bench", "why"),
    [
        (b"", BENCH, "it begins as neither a pcapng nor a pcap file does"),
        (b"PK\x03\x04" * 9, BENCH, "it begins as neither"),
        (b"", "", "a capture does not say by which plans, and on which bench"),
    ],
)
def test_what_is_no_capture_is_refused_with_a_sentence(recorded, tmp_path, content, bench, why):
    odd = tmp_path / "odd.pcapng"
    odd.write_bytes(content)

    with pytest.raises(DescriptionError, match=why):
        from_capture(recorded, capture=odd, bench=bench)


def test_a_capture_of_a_coap_rack_gives_the_same_verdicts_as_the_run(tmp_path):
    plan, bench = "testplans/propagator.yaml", "fixtures/propagator.yaml"
    options = Options(plans=(plan,), bench=bench, virtual=True, reports=str(tmp_path))
    folder = run_plans(options, say=lambda text: None).folder
    judged = judge_again(folder / "capture.pcapng", (plan,), bench, tmp_path, ())

    assert outcomes(judged) == ["pass"] * 15
    assert {c[:4] for c in checks(judged.folder)} == {c[:4] for c in checks(folder)}


TWICE = """\
plan: Twice
cases:
  - case: over-pressure turns the light red
    precondition: {beacon.lamp: green}
    steps:
      - stimulus: {feedline.pressure: 4.8 bar}
        expect: [{signal: beacon.lamp, value: red, within: 150 ms}]
  - case: and it does so again
    precondition: {beacon.lamp: green}
    steps:
      - stimulus: {feedline.pressure: 4.8 bar}
        expect: [{signal: beacon.lamp, value: red, within: 150 ms}]
  - case: a vane that rests turns
    precondition: [{signal: louvres.vane-1.position, value: 0 deg, within: 3 s, hold: 50 ms}]
    steps:
      - wait: 30 ms
        stimulus: {louvres.vane-1.angle: 30 deg}
        expect: [{signal: louvres.vane-1.position, value: 30 deg, tolerance: 1.5 deg, within: 600 ms}]
"""


def test_cases_with_the_same_stimulus_are_found_one_after_the_other(tmp_path):
    plan = tmp_path / "plan.yaml"
    plan.write_text(TWICE)
    options = Options(plans=(str(plan),), virtual=True, reports=str(tmp_path / "reports"))
    folder = run_plans(options, say=lambda text: None).folder
    judged = judge_again(folder / "capture.pcapng", (str(plan),), BENCH, tmp_path, ())
    begun = {
        kept: [
            e.at
            for e in JournalReader(kept / "journal.jsonl")
            if isinstance(e, CommandLogged) and (e.state, e.purpose) == ("sent", "stimulus")
        ]
        for kept in (folder, judged.folder)
    }

    assert outcomes(judged) == ["pass", "pass", "pass"]
    first = next(e.at for e in JournalReader(folder / "journal.jsonl") if isinstance(e, Datagram))
    assert begun[judged.folder] == [at - first for at in begun[folder]]


def test_a_command_that_was_sent_earlier_is_not_the_one_that_is_sent_now():
    def logged(at, state, token):
        return CommandLogged(
            at=Instant(at),
            token=token,
            signal="n.s",
            value="20.0 deg",
            purpose="stimulus",
            state=state,
        )

    fates = Fates([logged(5, "sent", 1), logged(6, "accepted", 1), logged(50, "sent", 2)])
    command = Command(token=9, signal="n.s", value=Decimal(20), purpose=Purpose.STIMULUS)

    assert fates.take(command, "20 deg", Instant(10)) == [
        (50, CommandSent(token=9, at=Instant(50)))
    ]
    (lost,) = fates.take(command, "20 deg", Instant(51))
    assert lost == (51, CommandLost(token=9, at=Instant(51), detail=NOT_THERE))
