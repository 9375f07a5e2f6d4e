"""Naming the package costs nothing: numpy and scipy are imported inside functions only."""

import ast
from pathlib import Path

import pytest

import hil.measure

FILES = sorted(Path(hil.measure.__file__).parent.glob("*.py"))
HEAVY = {"numpy", "scipy"}


def imported(statements):
    """Return the packages that the statements themselves import when they are run."""
    for statement in statements:
        if isinstance(statement, ast.Import):
            yield from (alias.name.split(".")[0] for alias in statement.names)
        elif isinstance(statement, ast.ImportFrom):
            yield (statement.module or "").split(".")[0]
        elif isinstance(statement, ast.If) and ast.unparse(statement.test) != "TYPE_CHECKING":
            yield from imported(statement.body)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_no_heavy_library_is_imported_with_the_module(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))

    assert not HEAVY & set(imported(tree.body))


def test_the_check_would_see_one():
    assert HEAVY & set(imported(ast.parse("import scipy.special").body))
