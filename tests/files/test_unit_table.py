"""The table of everyday units says what the units library says, to the last digit."""

import decimal
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import pytest

from hil.core.signal import EXACT
from hil.files.unit import look_up, read_unit
from hil.files.unit_table import DIFFERENCES, LINEAR, WITH_OFFSET

TABLES = (LINEAR, WITH_OFFSET, DIFFERENCES)
NAMES = [name for table in TABLES for units in table.values() for name in units]
ROOT = Path(__file__).parent.parent.parent


def test_no_unit_stands_twice():
    assert len(NAMES) == len(set(NAMES)) == 111


@pytest.mark.parametrize("name", NAMES)
def test_the_table_agrees_with_pint(name):
    with decimal.localcontext(EXACT):
        assert read_unit(name) == look_up(name)


def test_torque_is_newton_metres_and_not_the_textile_number():
    # Nm is the written form of N·m in the trade; common practice, no source
    assert read_unit("Nm") == read_unit("N·m") == read_unit("J")
    assert read_unit("Ncm").factor == Fraction(1, 100)
    assert read_unit("mNm").factor == Fraction(1, 1000)


def test_parts_per_billion_are_a_fraction():
    assert read_unit("ppb").dimension == read_unit("%").dimension
    assert read_unit("ppb").factor == Fraction(1, 10**9)


@pytest.mark.parametrize("spelled", ["%RH", "%rH", "%rF", "% RH", "% rH", "% rF"])
def test_relative_humidity_is_a_percentage_however_it_is_written(spelled):
    assert read_unit(spelled) == read_unit("%")


def test_the_benches_of_this_project_need_no_units_library():
    """Half of the time in which a command starts; see the module."""
    program = "import sys; from pathlib import Path; from hil.files.read import read_rack\n"
    program += "for name in sys.argv[1:]: read_rack(Path(name))\nsys.exit('pint' in sys.modules)"
    benches = [f"fixtures/{name}.yaml" for name in ("glasshouse", "annexe", "doser", "propagator")]
    command = [sys.executable, "-c", program, *benches]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
