"""A switched outlet with a plain node behind it: a program that a bench runs for its power.

    python outlet.py PORT on | off | cycle      in a folder of its own

The node is a process; its number stands in `node.pid`, how often it was switched on in `boots`.
"""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

NODE = Path(__file__).parent / "plain_node.py"
PID, BOOTS, LINE = Path("node.pid"), Path("boots"), Path("line")


def off() -> None:
    if not PID.exists():
        return
    number = int(PID.read_text())
    PID.unlink()
    os.kill(number, signal.SIGKILL)
    while Path(f"/proc/{number}").exists() and not _is_zombie(number):
        time.sleep(0.005)  # the kernel takes a moment


def on(port: str) -> None:
    if PID.exists():
        return
    boots = int(BOOTS.read_text()) + 1 if BOOTS.exists() else 1
    BOOTS.write_text(str(boots))
    if not LINE.exists():
        os.mkfifo(LINE)
    line = os.open(LINE, os.O_RDWR)  # its own writer: it never ends
    node = subprocess.Popen(
        [sys.executable, str(NODE), port, f"boots={boots}"],
        stdin=line,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    PID.write_text(str(node.pid))


def _is_zombie(number: int) -> bool:
    try:
        return Path(f"/proc/{number}/stat").read_text().rsplit(")", 1)[1].split()[0] == "Z"
    except OSError:
        return True


def main() -> None:
    port, word = sys.argv[1:]
    if word in ("off", "cycle"):
        off()
    if word in ("on", "cycle"):
        on(port)
    print(f"outlet {word}")


if __name__ == "__main__":
    main()
