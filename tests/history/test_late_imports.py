"""A run does not wait for the database's library: it is imported when the rack is safe again."""

import subprocess
import sys

PROBE = """
import sys
import hil.runner.run, hil.cli.run, hil.cli.history, hil.cli.trend
from hil.history.place import place_of
place_of("postgresql://rack@db/history")
print([name for name in ("sqlalchemy", "psycopg", "scipy", "numpy") if name in sys.modules])
"""


def test_starting_a_run_imports_no_database():
    ended = subprocess.run(
        [sys.executable, "-c", PROBE], capture_output=True, text=True, check=True
    )

    assert ended.stdout.strip() == "[]"
