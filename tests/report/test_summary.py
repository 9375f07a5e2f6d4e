"""The terminal result: words first, colours only where wanted, nothing dangerous from a node."""

import io

import pytest
from report.runs import MISSED, begun, case, over, result, started

from hil.report.paint import paint, wants_colour
from hil.report.summary import CASES_TOLD, plain, readiness, summarise
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
        ("NOT READY: bench: 1 broken off; 1 of 2 not run", ["error", "not run"]),
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
        "wanted  45.00 deg ± 1.50 deg within 600 ms",
        "got     42.10 deg, 600 ms after the stimulus, margin -0.93",
        "bytes   31 0a 0b",
        "plan    testplans/louvres.yaml:9:13",
    ):
        assert part in text


def test_plans_and_nodes_have_tables():
    lines = shown(result("pass", "fail")).splitlines()

    plan = next(line for line in lines if line.startswith("Louvres"))
    node = next(line for line in lines if line.startswith("louvres"))
    assert plan.split() == ["Louvres", "2", "1", "1", "0.32"]
    assert node.split() == ["louvres", "2", "1", "1", "–", "-0.93", "louvres.vane-2.position"]


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


def test_plain_output_has_no_escapes():
    stream = io.StringIO()
    paint(summarise(result("pass", "fail")), stream, colour=False)

    assert shown(result("pass", "fail")) == stream.getvalue()


def test_a_stream_of_few_characters_gets_escapes():
    stream = io.TextIOWrapper(io.BytesIO(), encoding="ascii", newline="\n")
    paint(summarise(result("fail")), stream, colour=False)

    assert rb"45.00 deg \xb1 1.50 deg" in stream.buffer.getvalue()
