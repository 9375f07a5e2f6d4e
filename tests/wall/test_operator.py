"""A person at a terminal: asked, answering, silent, typing nonsense, pulling the plug."""

import signal
import sys

import pytest
from wall.plain_node import NODE, PRESSURE, REQUEST, sealed
from wall.run_rack import Rack, finish
from wall.screen import screen
from wall.terminal import Terminal

from hil.report.rebuild import fold_run
from hil.runner.again.again import judge_again

pytestmark = pytest.mark.wall

LOOK = """\
plan: Gauge
cases:
  - case: the lamp is red
    steps:
      - stimulus: {gauge.pressure: 4.8 bar, gauge.arm: 45 deg}
        expect: [{signal: gauge.lamp, value: red, within: 500 ms}]
      - ask: {look: is the lamp red?, within: LIMIT}
"""
ACT = """\
plan: Gauge
cases:
  - case: the pressure rises
    precondition: {gauge.lamp: green}
    steps:
      - ask: {act: open the valve, within: 20 s}
        expect: [{signal: gauge.lamp, value: red, within: 500 ms}]
  - case: and is judged
    steps:
      - ask: {look: is the valve open?, within: 20 s}
"""
QUESTION = "question: is the lamp red?"
KEYS = "y = yes, n = no, t = can't tell, then Enter (20 s): "


@pytest.fixture
def bench(tmp_path):
    """Start a run at a terminal: bench(plan, words) → the rack, the terminal."""
    opened = []

    def start(plan, *words, term="xterm"):
        rack = Rack(tmp_path, plan)
        command = [sys.executable, "-m", "hil", "run", "plan.yaml", "--bench", "bench.yaml"]
        terminal = Terminal([*command, *words], tmp_path, term=term)
        opened.extend([terminal, rack])
        return rack, terminal

    yield start
    for each in opened:
        each.close()


def look(limit="20 s"):
    return LOOK.replace("LIMIT", limit)


def told(rack, kind="operator-answered"):
    return [event for event in rack.journal() if event["event"] == kind]


@pytest.mark.parametrize(("key", "code", "answer"), [("n", 1, "no"), ("t", 3, "can't tell")])
def test_an_answer_is_the_verdict_and_the_terminal_is_as_before(bench, key, code, answer):
    rack, terminal = bench(look())
    terminal.wait_for(KEYS)
    during = terminal.settings()
    terminal.type(key + "\r")

    assert terminal.finish() == code
    assert terminal.settings() == terminal.before
    assert during != terminal.before
    assert [event["answer"] for event in told(rack)] == [answer]
    assert told(rack)[0]["by"] == "person"


@pytest.mark.parametrize("key", ["y", "n", "t"])
def test_a_recorded_answer_gives_the_same_verdict_when_it_is_judged_again(bench, key, monkeypatch):
    rack, terminal = bench(look())
    terminal.wait_for(KEYS)
    terminal.type(key + "\r")
    terminal.finish()
    monkeypatch.chdir(rack.folder)
    recorded = fold_run(rack.folder / "reports" / "latest").result
    judged = judge_again(
        rack.folder / "reports" / "latest", (), "", rack.folder / "again", ()
    ).result

    assert [case.outcome for case in judged.cases] == [case.outcome for case in recorded.cases]
    assert [case.reasons for case in judged.cases] == [case.reasons for case in recorded.cases]


def test_question_answer_and_progress_stand_in_lines_of_their_own(bench):
    _, terminal = bench(look())
    terminal.wait_for(KEYS)
    terminal.type("qwe\r")
    terminal.wait_for("is no answer")
    terminal.type("y")
    terminal.wait_for("s): y")
    terminal.type("\r")
    assert terminal.finish() == 0
    assert terminal.settings() == terminal.before
    shown = screen(terminal.seen)
    start = shown.index(QUESTION)

    assert shown[start : start + 4] == [QUESTION, "  `qwe` is no answer", "  yes", ""]
    assert any(line.startswith("READY: 1 of 1") for line in shown)


def test_silence_is_inconclusive_and_the_time_left_is_shown(bench):
    rack, terminal = bench(look("1500 ms"))
    terminal.wait_for("(2 s)")
    terminal.wait_for("(1 s)")

    assert terminal.finish() == 3
    assert "step 1" not in terminal.seen.split("NOT READY")[0]
    assert "nobody answered within 1.5 s: is the lamp red?" in terminal.seen
    assert "  nobody answered" in screen(terminal.seen)
    assert terminal.settings() == terminal.before
    assert told(rack)[0]["took"] == 1_500_000_001


def test_what_was_typed_before_the_question_is_no_answer(bench):
    plan = look("700 ms").replace(
        "steps:\n", "steps:\n      - wait: 300 ms\n        stimulus: {gauge.pressure: 3 bar}\n"
    )
    _, terminal = bench(plan)
    terminal.wait_for("0 of 1")
    terminal.type("n\rn\r")

    assert terminal.finish() == 3
    assert "nobody answered within 700 ms" in terminal.seen


def test_ctrl_c_ends_the_run_safe_and_gives_the_terminal_back(bench):
    rack, terminal = bench(look())
    terminal.wait_for(KEYS)
    terminal.type("\x03")

    assert terminal.finish() == 130
    assert terminal.settings() == terminal.before
    assert rack.arm() == 0
    assert rack.journal()[-1]["safe"] is True


def test_a_polite_signal_gives_the_terminal_back_too(bench):
    _, terminal = bench(look(), term="dumb")
    terminal.wait_for("then Enter")
    terminal.process.send_signal(signal.SIGTERM)

    assert terminal.finish() == 143
    assert terminal.settings() == terminal.before
    assert QUESTION in screen(terminal.seen)


def test_a_terminal_that_goes_away_ends_the_run_safe(bench):
    rack, terminal = bench(look())
    terminal.wait_for(KEYS)
    terminal.hang_up()

    assert terminal.finish() == 129
    assert rack.arm() == 0
    assert told(rack)[0]["by"] == "nobody"


def test_a_hand_at_the_rack_need_not_touch_the_keyboard(bench):
    rack, terminal = bench(ACT)
    terminal.wait_for("please: open the valve")
    rack._socket.send(sealed(REQUEST, 0x21, NODE, 65_001, PRESSURE, 480))
    terminal.wait_for("it is seen to be done")
    terminal.wait_for("is the valve open?")
    terminal.type("y\r")

    assert terminal.finish() == 0
    assert [event["answer"] for event in told(rack)] == ["seen", "yes"]


def test_an_unattended_run_asks_nobody_though_there_is_a_terminal(bench):
    rack, terminal = bench(look() + SHORT_CASE, "--unattended")

    assert terminal.finish() == 0
    assert "needs a person (is the lamp red?), but the run is unattended" in terminal.seen
    assert not told(rack, "operator-asked")


SHORT_CASE = """\
  - case: the lamp is green
    steps:
      - stimulus: {gauge.pressure: 1 bar}
        expect: [{signal: gauge.lamp, value: green, within: 500 ms}]
"""


def test_without_a_terminal_nothing_moves_in_such_cases_and_the_others_run(tmp_path):
    rack = Rack(tmp_path, look() + SHORT_CASE)
    try:
        code, out, _ = finish(rack.run())

        assert code == 0
        assert "READY: 1 of 2 cases passed, 1 skipped" in out
        assert "needs a person (is the lamp red?), but no terminal is here" in out
        moved = [e for e in rack.journal() if e["event"] == "command"]
        assert not [e for e in moved if e["value"] in ("4.8 bar", "45 deg")]
    finally:
        rack.close()
