"""A bench computer with two interfaces, the rack on the second, the default route on the first.

Everything is made here: two network namespaces with two pairs of virtual Ethernet between them.

    bench namespace                        rack namespace
    office0 198.51.100.1, default route ── outside 198.51.100.2
    rack0   192.0.2.1                   ── inside  192.0.2.2, the software nodes

Addresses are those for documentation (RFC 5737).
"""

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from wall.run_rack import finish

pytestmark = pytest.mark.wall

ROOT = Path(__file__).parents[2]
PLAN = """\
plan: A first look
cases:
  - case: over-pressure turns the stack light red
    steps:
      - stimulus: {feedline.pressure: 9.0 bar}
        expect: [{signal: beacon.lamp, value: red, within: 1 s}]
"""
BENCH, RACK = f"rackproof-bench-{os.getpid()}", f"rackproof-rack-{os.getpid()}"
SETUP = f"""\
ip netns add {BENCH}
ip netns add {RACK}
ip -n {BENCH} link add office0 type veth peer name outside netns {RACK}
ip -n {BENCH} link add rack0 type veth peer name inside netns {RACK}
ip -n {BENCH} address add 198.51.100.1/24 dev office0
ip -n {BENCH} address add 192.0.2.1/24 dev rack0
ip -n {RACK} address add 198.51.100.2/24 dev outside
ip -n {RACK} address add 192.0.2.2/24 dev inside
ip -n {BENCH} link set lo up
ip -n {RACK} link set lo up
ip -n {BENCH} link set office0 up
ip -n {BENCH} link set rack0 up
ip -n {RACK} link set outside up
ip -n {RACK} link set inside up
ip -n {BENCH} route add default via 198.51.100.2
"""


def ip(line: str) -> str:
    ended = subprocess.run(line.split(), capture_output=True, text=True, check=False)
    if ended.returncode:
        raise OSError(f"{line}: {ended.stderr.strip() or ended.returncode}")
    return ended.stdout


@pytest.fixture(scope="module")
def namespaces():
    if shutil.which("ip") is None:
        pytest.skip("iproute2 is not installed")
    try:
        for line in SETUP.splitlines():
            ip(line)
    except OSError as error:
        take_away()
        pytest.skip(f"no right to make network namespaces: {error}")
    yield
    take_away()


def take_away():
    for name in (BENCH, RACK):
        subprocess.run(["ip", "netns", "delete", name], capture_output=True, check=False)


@pytest.fixture
def hil(tmp_path, namespaces):
    """Start `hil` in a namespace, in a folder with a bench file for each side."""
    text = (ROOT / "fixtures" / "glasshouse.yaml").read_text("utf-8")
    text = text.replace("interface: lo ", "interface: rack0 ").replace("127.0.0.1:", "192.0.2.2:")
    served = text.replace("host: 127.0.0.1 ", "host: 192.0.2.2 ")
    (tmp_path / "served.yaml").write_text(served, "utf-8")
    bench = text[: text.index("\nsoftware:\n")].replace("host: 127.0.0.1 ", "host: 192.0.2.1 ")
    (tmp_path / "bench.yaml").write_text(bench, "utf-8")
    (tmp_path / "plan.yaml").write_text(PLAN)
    started = []

    def go(namespace, *words):
        process = subprocess.Popen(
            ["ip", "netns", "exec", namespace, sys.executable, "-m", "hil", *words],
            cwd=tmp_path,
            env=os.environ | {"XDG_RUNTIME_DIR": str(tmp_path), "PYTHONWARNINGS": "error"},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        started.append(process)
        return process

    yield go
    for process in reversed(started):
        if process.poll() is None:
            process.kill()
        process.communicate()


@pytest.fixture
def rack(hil):
    """Serve the software nodes in the rack's namespace."""
    nodes = hil(RACK, "nodes", "--bench", "served.yaml")
    assert any("serving" in line for line in nodes.stdout), nodes.stderr.read()
    return nodes


def run(hil, tmp_path, *changes):
    file = tmp_path / "bench.yaml"
    text = file.read_text("utf-8")
    for old, new in changes:
        assert re.search(old, text)
        text = re.sub(old, new, text)
    file.write_text(text, "utf-8")
    return finish(hil(BENCH, "run", "plan.yaml", "--bench", "bench.yaml"))


def octets(interface, way):
    shown = ip(f"ip -n {BENCH} -s -j link show {interface}")
    return json.loads(shown)[0]["stats64"][way]["bytes"]


def test_the_rack_is_reached_on_its_own_interface(hil, rack, tmp_path):
    before = octets("office0", "tx"), octets("rack0", "rx")
    code, out, err = run(hil, tmp_path)

    assert code == 0, out + err
    assert "interface rack0, 192.0.2.1: link up" in err
    assert octets("rack0", "rx") - before[1] > 5_000
    assert octets("office0", "tx") - before[0] < 1_000  # neighbour discovery, and no datagram


def test_nothing_leaves_by_the_default_route(hil, tmp_path):
    # nodes that only the other interface's router could reach
    before = octets("office0", "tx")
    code, out, err = run(hil, tmp_path, (r"192\.0\.2\.2:", "203.0.113.9:"))

    assert code == 3, out + err
    assert "the way to feedline at 203.0.113.9 begins at 198.51.100.1, which is not rack0" in err
    assert octets("office0", "tx") - before < 1_000


def test_no_route_is_told_in_words(hil, tmp_path):
    ip(f"ip -n {BENCH} route del default")
    try:
        code, out, err = run(hil, tmp_path, (r"192\.0\.2\.2:", "203.0.113.9:"))
    finally:
        ip(f"ip -n {BENCH} route add default via 198.51.100.2")

    assert code == 3, out + err
    assert "there is no way to feedline at 203.0.113.9: network is unreachable" in err


def test_an_interface_that_is_down_is_told_in_words(hil, tmp_path):
    ip(f"ip -n {BENCH} link set rack0 down")
    try:
        code, _, err = run(hil, tmp_path)
    finally:
        ip(f"ip -n {BENCH} link set rack0 up")

    assert code == 3
    assert "bench: interface rack0 is down\n    try: ip link set rack0 up" in err


def test_an_interface_that_is_missing_is_told_in_words(hil, tmp_path):
    code, _, err = run(hil, tmp_path, ("interface: rack0", "interface: rack9"))

    assert code == 3
    assert "this computer has no interface rack9\n    try: one of lo, office0, rack0" in err


def test_an_address_of_the_other_interface_is_told_in_words(hil, tmp_path):
    code, _, err = run(hil, tmp_path, (r"host: 192\.0\.2\.1", "host: 198.51.100.1"))

    assert code == 3
    assert "198.51.100.1 is not an address of interface rack0, which has 192.0.2.1" in err
