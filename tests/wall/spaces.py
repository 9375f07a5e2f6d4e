"""Two network namespaces with two pairs of virtual Ethernet between them, made by the tests.

    bench namespace                        rack namespace
    office0 198.51.100.1, default route ── outside 198.51.100.2
    rack0   192.0.2.1, fe80::1          ── inside  192.0.2.2, fe80::2, the software nodes

Addresses are those for documentation (RFC 5737) and link-local ones (RFC 4291 §2.5.6).
"""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ANNEXE = (ROOT / "fixtures" / "annexe.yaml").read_text("utf-8")

_SETUP = """\
ip netns add {bench}
ip netns add {rack}
ip -n {bench} link add office0 type veth peer name outside netns {rack}
ip -n {bench} link add rack0 type veth peer name inside netns {rack}
ip -n {bench} address add 198.51.100.1/24 dev office0
ip -n {bench} address add 192.0.2.1/24 dev rack0
ip -n {bench} address add fe80::1/64 dev rack0 nodad
ip -n {rack} address add 198.51.100.2/24 dev outside
ip -n {rack} address add 192.0.2.2/24 dev inside
ip -n {rack} address add fe80::2/64 dev inside nodad
ip -n {bench} link set lo up
ip -n {rack} link set lo up
ip -n {bench} link set office0 up
ip -n {bench} link set rack0 up
ip -n {rack} link set outside up
ip -n {rack} link set inside up
ip -n {bench} route add default via 198.51.100.2
"""


def ip(line: str) -> str:
    ended = subprocess.run(line.split(), capture_output=True, text=True, check=False)
    if ended.returncode:
        raise OSError(f"{line}: {ended.stderr.strip() or ended.returncode}")
    return ended.stdout


class Spaces:
    """The two namespaces, and the processes that were started in them."""

    def __init__(self, word: str) -> None:
        self.bench = f"rackproof-{word}-bench-{os.getpid()}"
        self.rack = f"rackproof-{word}-rack-{os.getpid()}"
        self.folder = Path()
        self._started: list[subprocess.Popen[str]] = []

    def make(self) -> None:
        if shutil.which("ip") is None:
            pytest.skip("iproute2 is not installed")
        try:
            for line in _SETUP.format(bench=self.bench, rack=self.rack).splitlines():
                ip(line)
        except OSError as error:
            self.take_away()
            pytest.skip(f"no right to make network namespaces: {error}")

    def take_away(self) -> None:
        for name in (self.bench, self.rack):
            subprocess.run(["ip", "netns", "delete", name], capture_output=True, check=False)

    def start(self, namespace: str, *words: str) -> "subprocess.Popen[str]":
        """Start a Python program in a namespace."""
        process = subprocess.Popen(
            ["ip", "netns", "exec", namespace, sys.executable, *words],
            cwd=self.folder,
            env=os.environ | {"PYTHONWARNINGS": "error"},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self._started.append(process)
        return process

    def end_all(self) -> None:
        for process in reversed(self._started):
            if process.poll() is None:
                process.kill()
            process.communicate()
        self._started.clear()

    def serve(self, text: str, name: str = "served.yaml") -> "subprocess.Popen[str]":
        """Serve the software nodes of a bench file in the rack's namespace."""
        (self.folder / name).write_text(text, "utf-8")
        nodes = self.start(self.rack, "-m", "hil", "nodes", "--bench", name)
        assert nodes.stdout is not None
        assert nodes.stderr is not None
        assert any("serving" in line for line in nodes.stdout), nodes.stderr.read()
        return nodes

    def hil(self, *words: str) -> tuple[int, str, str]:
        """Run a command on the bench computer; return its exit code and what it printed."""
        process = self.start(self.bench, "-m", "hil", *words)
        out, err = process.communicate(timeout=40)
        return process.returncode, out, err

    def octets(self, interface: str, way: str) -> int:
        shown = ip(f"ip -n {self.bench} -s -j link show {interface}")
        return int(json.loads(shown)[0]["stats64"][way]["bytes"])


def annexe(*, host: str, nodes: str, interface: str, served: bool) -> str:
    """Return the annexe's bench file with other addresses; without software on the bench's side."""
    text = ANNEXE.replace("interface: lo ", f"interface: {interface} ")
    text = text.replace("answer-within: 50 ms", "answer-within: 500 ms")  # a computer at its limit
    text = text.replace("host: 127.0.0.1\n", f'host: "{host}"\n')
    shown = f"[{nodes}]" if ":" in nodes else nodes
    for port in ("47921", "47925", "47927"):
        text = text.replace(f"address: 127.0.0.1:{port}", f'address: "{shown}:{port}"')
    return text if served else text[: text.index("\nsoftware:\n")]
