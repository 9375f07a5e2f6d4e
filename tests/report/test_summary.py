"""The terminal result: words first, colours only where wanted, nothing dangerous from a node."""

import fcntl
import io
import os
import re
import struct
import termios

import pytest
from report.runs import MISSED, begun, case, check, ended, over, result, run, started

from hil.core.event import ActuatorSafe
from hil.report.line import Tone, plain
from hil.report.paint import is_screen, paint, wants_colour
from hil.report.summary import CASES_TOLD, readiness, summarise
from hil.report.tally import fold


def shown(found):
    return plain(summarise(found))


@pytest.mark.parametrize(
    ("sentence", "outcomes"),
    [
        ("READY: 2 of 2 cases passed", ["pass", "pass"]),
        ("READY: 1 of 2 cases passed, 1 skipped", ["pass", "skipped"]),
        ("NOT READY: louvres: 2 failed", ["fail", "fail", "pass"]),
        ("NOT READY: louvres: 1 failed, 1 inconclusive", ["inconclusive", "fail"]),
        ("NOT READY: louvres: 1 unstable", ["unstable", "pass"]),
        ("NOT READY: bench: 1 error; 1 of 2 not run", ["error", "not run"]),
        ("NOT READY: nothing ran, 1 of 1 skipped", ["skipped"]),
        ("NOT READY: nothing ran", []),
    ],
)
def test_readiness_is_one_sentence(sentence, outcomes):
    assert sentence == readiness(result(*outcomes))


def test_readiness_names_a_rack_that_is_not_safe():
    found = result("pass", safe=False)

    assert readiness(found) == "NOT READY: not every actuator was seen safe"
    assert "NOT SAFE: not seen at their safe value: louvres.vane-2.angle" in shown(found)


def test_readiness_tells_what_ended_a_run_though_all_cases_passed():
    found = result("pass", aborted="second coordinator: x rose from 0 to 1")

    assert readiness(found) == "NOT READY: second coordinator: x rose from 0 to 1"


def test_readiness_comes_first():
    assert shown(result("fail")).startswith("NOT READY: louvres: 1 failed\n")


def test_a_killed_run_says_so_and_warns():
    text = shown(fold([started("a"), begun(0, "a")]))

    assert "the run was killed" in text
    assert "NOT SAFE: nobody saw where the actuators are" in text


def test_a_run_that_never_began_moved_nothing():
    assert "nothing was moved" in shown(fold([started("a"), over(safe=False)[-1]]))


def test_a_failed_check_is_told_with_everything():
    text = shown(result("fail"))

    for part in (
        MISSED,
        "looked  60 times, longest gap 10 ms",
        "bytes   31 0a 0b",
        "plan    testplans/louvres.yaml:9:13",
    ):
        assert part in text


TITLE = "vane reaches angle [vane-2, 45 deg]"


def failed(*more, reasons=(MISSED,), outcome="fail", **facts):
    """Return a run of one case with a title of its own, and its told lines."""
    end = ended(0, TITLE, outcome, *reasons, **facts)
    return fold([started(TITLE), begun(0, TITLE), *more, end, *over()])


def test_everything_is_said_once_under_its_heading():
    passed = check(0, "pass", text="fine")
    lines = shown(failed(check(0, "fail"), passed, passed, passed)).splitlines()

    assert lines[2:9] == [
        "failed        vane reaches angle [vane-2, 45 deg]",
        "    step 1: louvres.vane-2.position was 42.10 deg, wanted 45.00 deg ± 1.50 deg "
        "(1.40 deg too low) at the deadline, 600 ms after the stimulus",
        "        looked  60 times, longest gap 10 ms",
        "        bytes   31 0a 0b",
        "        plan    testplans/louvres.yaml:9:13",
        "    3 others passed",
        "    requirements: LV-01",
    ]


def test_a_node_that_rebooted_is_to_blame_and_not_the_bench():
    reason = f"{TITLE}: beacon rebooted between 400 ms and 604 ms of the case (boot count 2, was 1)"
    found = failed(check(0, "pass"), reasons=(reason,), blamed=("beacon",))

    assert readiness(found) == "NOT READY: beacon: 1 failed"
    assert "    beacon rebooted between 400 ms and 604 ms of the case" in shown(found)
    assert "    1 check passed" in shown(found)
    assert "    plan: testplans/louvres.yaml:3:5" not in shown(found)


@pytest.mark.parametrize(
    ("checks", "outcome", "told"),
    [
        ((), "inconclusive", "lamp: 1 inconclusive"),
        (
            (check(0, "inconclusive"),),
            "inconclusive",
            "lamp: 1 inconclusive",
        ),  # it only shows there
        ((check(0, "fail"),), "fail", "louvres: 1 failed"),
    ],
)
def test_a_node_that_nobody_is_sure_of_is_where_to_look(checks, outcome, told):
    reason = "nobody knows who is at the address of lamp: no reading within 3 s"
    found = failed(*checks, reasons=(reason,), outcome=outcome, unsure=("lamp",))

    assert readiness(found) == f"NOT READY: {told}"


def test_a_failure_that_names_no_node_is_still_none_of_the_bench():
    assert readiness(failed(reasons=("the lamps disagree",))) == "NOT READY: some node: 1 failed"


def test_attempts_are_told_one_by_one():
    lines = shown(result("unstable")).splitlines()

    assert [line for line in lines if "attempt" in line] == [
        "    attempt 1: fail",
        "    attempt 2: unstable",
    ]
    assert any(line.startswith("        vane reaches angle") for line in lines)


def test_a_broken_case_is_called_error_everywhere():
    text = shown(result("error"))

    assert text.startswith("NOT READY: bench: 1 error")
    assert "\nerror         case 0\n" in text
    assert "broken" not in text


def test_the_reason_of_a_skipped_case_is_told_once():
    text = shown(result("pass", "skipped", "skipped", reason="no barometer on this rack"))

    assert "skipped       case 1 and 1 more: no barometer on this rack\n" in text


def safe_event(signal, text, actuator=True):
    return ActuatorSafe(
        at=0, signal=signal, value="0", confirmed=False, text=text, actuator=actuator
    )


def test_what_is_not_safe_is_grouped_by_its_cause():
    lost = "no answer within 50 ms"
    events = [
        *run("pass")[:-2],
        safe_event("feedline.pressure", lost, actuator=False),
        safe_event("louvres.vane-1.angle", lost),
        safe_event("louvres.vane-2.angle", lost),
        over(safe=False)[-1],
    ]
    found = fold(events)

    assert readiness(found).endswith("not every actuator was seen safe")
    assert shown(found).splitlines()[-2:] == [
        "NOT SAFE: not seen at their safe value: louvres.vane-1.angle, louvres.vane-2.angle "
        "(no answer within 50 ms)",
        "NOT BACK: driven signals, no actuators, not seen at their safe value: feedline.pressure "
        "(no answer within 50 ms)",
    ]


def test_an_injection_that_was_not_taken_back_is_no_actuator():
    lost = safe_event("feedline.pressure", "refused", actuator=False)
    found = fold([*run("pass")[:-2], lost, over(safe=False)[-1]])

    assert readiness(found) == "NOT READY: not every driven signal was seen back"
    assert "NOT SAFE" not in shown(found)


def test_plans_and_nodes_have_tables():
    lines = shown(result("pass", "fail")).splitlines()

    plan = next(line for line in lines if line.startswith("Louvres"))
    node = next(line for line in lines if line.startswith("louvres"))
    assert plan.split() == ["Louvres", "2", "1", "1", "0.32"]
    assert node.split() == ["louvres", "2", "1", "1", "-0.93", "louvres.vane-2.position"]


def test_many_failures_are_cut_with_their_number():
    text = shown(result(*["fail"] * (CASES_TOLD + 7)))

    assert "and 7 more like these" in text


def test_control_characters_never_reach_the_terminal():
    events = [started("a\x1b[2J"), *case(0, "a\x1b[2J", "fail", "x\x1b]0;title\x07\u202ey")]
    text = shown(fold([*events, *over()]))

    assert not [c for c in text if (ord(c) < 32 and c != "\n") or c in "\x7f\u202e"]
    assert r"a\x1b[2J" in text


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self):
        return True


@pytest.mark.parametrize(
    ("wanted", "stream", "environment"),
    [
        (True, Terminal(), {}),
        (False, Terminal(), {"NO_COLOR": "1"}),
        (False, Terminal(), {"TERM": "dumb"}),
        (False, io.StringIO(), {}),
    ],
)
def test_colours_are_for_terminals_that_want_them(wanted, stream, environment):
    assert wanted == wants_colour(stream, environment)


@pytest.mark.parametrize(
    ("wanted", "stream", "environment"),
    [
        (True, Terminal(), {}),
        (True, Terminal(), {"NO_COLOR": "1"}),
        (False, Terminal(), {"TERM": "dumb"}),
        (False, io.StringIO(), {}),
    ],
)
def test_what_is_alive_on_a_terminal_does_not_depend_on_colours(wanted, stream, environment):
    assert wanted == is_screen(stream, environment)


def test_plain_output_has_no_escapes():
    stream = io.StringIO()
    paint(summarise(result("pass", "fail")), stream, colour=False)

    assert shown(result("pass", "fail")) == stream.getvalue()


class Narrow(Terminal):
    """A terminal of 40 columns."""

    def fileno(self):
        return self.terminal

    def __init__(self):
        super().__init__()
        self.terminal, self.other = os.openpty()
        fcntl.ioctl(self.terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 40, 0, 0))


@pytest.mark.parametrize("colour", [True, False])
def test_on_a_terminal_lines_break_at_blanks_and_hang(colour):
    stream = Narrow()
    paint(summarise(result("fail")), stream, colour=colour)
    lines = [re.sub("\x1b\\[[0-9;]*m", "", line) for line in stream.getvalue().splitlines()]

    assert all(len(line) <= 40 for line in lines)
    assert lines[3:5] == [
        "    vane reaches angle [vane-2, 45 deg],",
        "        step 1: louvres.vane-2.position",
    ]
    os.close(stream.terminal)
    os.close(stream.other)


def test_a_stream_of_few_characters_gets_letters_and_escapes_and_keeps_its_columns():
    stream = io.TextIOWrapper(io.BytesIO(), encoding="ascii", newline="\n")
    paint(
        [*summarise(result("fail", reason="was \u6f22")), (("caf\xe9", Tone.PLAIN),)],
        stream,
        colour=False,
    )
    lines = stream.buffer.getvalue().decode("ascii").splitlines()
    head = next(line for line in lines if line.startswith("node"))
    row = next(line for line in lines if line.startswith("louvres"))

    assert "    was \\u6f22" in lines
    assert "caf\\xe9" in lines
    assert row.index("louvres.vane") == head.index("where")
    assert row.split()[:5] == ["louvres", "1", "-", "1", "-0.93"]
