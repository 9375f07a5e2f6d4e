"""Runs against a real program at a pseudo-terminal: it resets, babbles, dribbles, is swapped."""

import pytest
from wall.lines import PLAN, begin, events, journal, node, run, talking

pytestmark = pytest.mark.wall

SAFE = "rate 7"


@pytest.mark.parametrize(
    "words",
    [(), ("prompt",), ("noecho",), ("split=15",), ("babble=11520",), ("rubbish", "resets=100")],
    ids=lambda words: "-".join(words) or "plain",
)
def test_a_node_on_a_line_does_what_it_is_told_and_ends_safe(tmp_path, words):
    extra = "prompt: 'pump> '" if "prompt" in words else "echo: yes"
    extra = "opening-resets: yes" if "resets=100" in words else extra
    with talking(*words) as peer:
        code, out, lines = run(tmp_path, node(peer.device, extra=extra))
        heard = peer.end()

    assert code == 0, out
    assert "READY: 1 of 1 case passed" in out
    assert heard[0] == "id"
    assert "rate 42" in heard
    assert heard[-1] == SAFE or SAFE in heard[-3:]
    assert any(line["way"] == "out" for line in events(lines, "console-line"))


# pyserial #124, #156; grbl #160: the control line moves at opening and the board restarts.
def test_where_opening_resets_nothing_is_said_before_the_boot_line(tmp_path):
    with talking("resets=800") as peer:
        code, out, lines = run(tmp_path, node(peer.device, extra="opening-resets: yes"))
        heard = peer.end()
    [note] = events(lines, "node-note")
    first = next(line for line in events(lines, "console-line") if line["way"] == "out")

    assert code == 0, out
    assert not any("(down)" in line for line in heard)
    assert note["trouble"] == "console opened"
    assert note["text"] == "rebooted, because the console was opened"
    assert first["at"] >= note["at"] >= 700_000_000


def test_where_nothing_is_declared_the_restart_is_a_warning(tmp_path):
    with talking("resets=300") as peer:
        code, out, lines = run(tmp_path, node(peer.device))
    texts = [note["text"] for note in events(lines, "node-note")]

    assert code == 0, out
    assert any(text.startswith("rebooted when the console was opened") for text in texts)


# venus #1680, openhab-addons #15810: after a reset the numbers swap, and another board answers.
def test_two_consoles_that_were_swapped_are_noticed_before_anything_is_commanded(tmp_path):
    with talking("serial=SV-1") as servo, talking("serial=FA-2") as fan:
        code, out, _ = run(
            tmp_path,
            node(fan.device, "servo-1", 1, "SV-1"),
            node(servo.device, "fan-2", 2, "FA-2"),
            plan=PLAN.replace("pump.", "servo-1."),
        )
        heard = [*servo.end(), *fan.end()]

    assert code == 3
    assert "console of servo-1 answers as fan-2" in " ".join(out.split())
    assert not any("rate" in line for line in heard)


# pyserial #487, #730, #42: a time-out that begins again with every octet is no deadline.
def test_a_node_that_dribbles_octets_does_not_move_the_deadline(tmp_path):
    extra = "echo: yes"
    text = node("DEVICE", within="2 s", extra=extra).replace("      identify", "      #")
    with talking("dots=200") as peer:
        bench = text.replace("DEVICE", peer.device).replace("serial: PU-1\n", "firmware: '1'\n")
        bench = "\n".join(line for line in bench.splitlines() if "      read:" not in line) + "\n"
        code, out, lines = run(tmp_path, bench.replace("    firmware: '1'\n", ""))
    commands = events(lines, "command")
    sent, lost = (next(c["at"] for c in commands if c["state"] == s) for s in ("sent", "lost"))
    [detail] = {c["detail"] for c in commands if c["token"] == 1 and c["state"] == "lost"}

    assert code == 3, out
    assert lost - sent == pytest.approx(2e9, abs=50e6)
    assert 'it said "..........' in detail or 'it said ".........' in detail
    assert "2e 2e 2e" in detail


def test_a_line_that_is_unplugged_ends_no_run_and_the_case_says_so(tmp_path):
    slow = PLAN.replace("hold: 100 ms", "hold: 3 s").replace("within: 500 ms", "within: 6 s")
    with talking() as peer:
        process = begin(tmp_path, node(peer.device), plan=slow)
        for line in process.stdout:
            if line.startswith("1 case on"):
                break
        wait_for(tmp_path, "rate 42", process)
        peer.unplug()
        out = process.communicate(timeout=60)[0]
        lines = journal(tmp_path)
    told = " ".join(out.split())

    assert process.returncode == 3, out
    assert "the console of pump is gone, was it unplugged?" in told
    assert "it is not opened again in this run" in told
    [case] = events(lines, "case-ended")
    assert case["outcome"] != "fail"


def wait_for(folder, text, process):
    """Wait until a journal line tells of something."""
    path = folder / "reports" / "latest" / "journal.jsonl"
    while process.poll() is None:
        if path.exists() and text in path.read_text():
            return
        select_for_a_moment()
    raise AssertionError("the run ended too early")


def select_for_a_moment():
    import select

    select.select((), (), (), 0.02)


# --- killed -------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", [(), ("prompt",), ("babble=11520",)], ids=str)
def test_killed_outright_the_guard_makes_the_node_safe_on_the_open_line(tmp_path, words):
    slow = PLAN.replace("hold: 100 ms", "hold: 20 s").replace("within: 500 ms", "within: 30 s")
    with talking(*words) as peer:
        extra = "prompt: 'pump> '" if words == ("prompt",) else "echo: yes"
        process = begin(tmp_path, node(peer.device, extra=extra), plan=slow)
        wait_for(tmp_path, '"text":"ok 42"', process)
        process.kill()
        process.communicate()
        code, out, lines = run(tmp_path, node(peer.device, extra=extra))
        heard = peer.end()
    after = heard[len(heard) - heard[::-1].index("rate 42") :]

    assert code == 0, out
    assert "its guard sent 1 safe command, 1 was answered" in out
    assert heard.count(SAFE) >= 3  # by the guard, to be repaired, at the end
    assert after
    assert lines


# --- opening ------------------------------------------------------------------------------------


def test_a_device_that_is_not_there_is_told_and_nothing_moves(tmp_path):
    code, out, lines = run(tmp_path, node("/dev/serial/by-id/nobody"))

    assert code == 3
    assert "the console of pump cannot be opened: there is no /dev/serial/by-id/nobody" in out
    assert "try: is it plugged in?" in out
    assert lines == []


def test_what_is_no_serial_line_is_told(tmp_path):
    code, out, _ = run(tmp_path, node("/dev/null"))

    assert code == 3
    assert "/dev/null is no serial port" in out


def test_a_line_that_another_program_has_is_told(tmp_path):
    import serial

    with talking() as peer, serial.Serial(peer.device, exclusive=True):
        code, out, _ = run(tmp_path, node(peer.device))

    assert code == 3
    assert f"{peer.device} is in use by another program" in out
    assert f"try: fuser -v {peer.device}" in out


def test_an_adapter_that_is_not_there_is_told(tmp_path):
    text = node("DEVICE").replace("device: DEVICE", "usb: {vendor: 0xdead, product: 0xbeef}")
    code, out, _ = run(tmp_path, text)

    assert code == 3
    assert "no adapter on the USB is usb dead-beef" in out
