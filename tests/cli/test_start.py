"""What the command line imports before it knows what is wanted: click, and nothing heavy."""

import subprocess
import sys

HEAVY = (
    "rich",
    "yaml",
    "pint",
    "junit_xml",
    "tenacity",
    "netifaces",
    "anycrc",
    "numpy",
    "decimal",
    "sqlalchemy",
)
PROBE = f"""
import sys
from hil.cli.main import main
main(["--help"], standalone_mode=False)
print([name for name in {HEAVY!r} + ("hil.core", "hil.files", "hil.bench") if name in sys.modules])
"""


def test_help_imports_nothing_heavy():
    ended = subprocess.run(
        [sys.executable, "-c", PROBE], capture_output=True, text=True, check=True
    )

    assert "Commands:" in ended.stdout
    assert ended.stdout.splitlines()[-1] == "[]"


def test_a_run_shows_its_exit_codes_in_help():
    ended = subprocess.run(
        [sys.executable, "-m", "hil", "run", "--help"], capture_output=True, text=True, check=True
    )

    assert "128 + signal  stopped by a signal" in ended.stdout
