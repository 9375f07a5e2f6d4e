"""Steps that a Python program writes: the same words and the same reader as in a plan file.

Mappings, lists and values take the place of YAML; numbers and words are read as their texts are.
Every mistake is at the line of the program.
"""

from collections.abc import Mapping, Sequence

from hil.core.error import DescriptionError, Mark
from hil.core.plan import Step
from hil.files.case_file import read_step
from hil.files.mistake import Page
from hil.files.scope import Scope
from hil.files.tree import Map, Node, Scalar, Seq

Written = Mapping[str, "Written"] | Sequence["Written"] | str | int | float | bool
"""What a program may write: as in YAML."""


def read_python_step(written: Mapping[str, Written], scope: Scope, place: Mark) -> Step:
    """Return a step.  Raises DescriptionError with every mistake in it."""
    page = Page(place.file, b"")
    step = read_step(_node(written, place), scope, page)
    if step is None or page.mistakes:
        raise DescriptionError(page.mistakes)
    return step


def _node(written: Written, place: Mark) -> Node:
    if isinstance(written, Mapping):
        mapping = Map(place.line, place.column)
        for name, value in written.items():
            key = Scalar(str(name), False, place.line, place.column)
            mapping.pairs[str(name)] = key, _node(value, place)
        return mapping
    if isinstance(written, str):
        return Scalar(written, True, place.line, place.column)
    if isinstance(written, Sequence):
        items = Seq(place.line, place.column)
        items.items += [_node(each, place) for each in written]
        return items
    if isinstance(written, bool):
        return Scalar("yes" if written else "no", True, place.line, place.column)
    return Scalar(str(written), True, place.line, place.column)
