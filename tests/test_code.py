"""Format, lint, types and import contracts: the same check everywhere, as part of the tests."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
SCRIPTS = Path(sys.executable).parent


@pytest.mark.parametrize(
    "command",
    [
        ("ruff", "format", "--check", "."),
        ("ruff", "check", "."),
        ("mypy",),
        ("lint-imports",),
    ],
    ids=" ".join,
)
def test_the_code_passes(command):
    program = SCRIPTS / command[0]
    assert program.exists(), f"{command[0]} is not installed: pip install -e '.[test]'"

    ended = subprocess.run(
        [program, *command[1:]], cwd=ROOT, capture_output=True, text=True, check=False
    )

    assert ended.returncode == 0, ended.stdout + ended.stderr
