"""Whether a part of a file has the form that its shape asks for, whatever the rest of the file says.

What a part means may hang on another part that is wrong.  Its form does not: keys, texts that can be
read, units, lists where lists belong.  So those mistakes are told with all the others.
"""

from typing import Any

from hil.files.mistake import Page
from hil.files.shape import Either, Leaf, Many, Names, Record, Shape
from hil.files.tree import Map, Node, Scalar, Seq


def check_form(shape: Shape, node: Node, page: Page, name: str) -> None:
    """Note every mistake of form, however deep; `name` is the key that the node stands under."""
    match shape:
        case Leaf():
            shape.read(node, page, name)
        case Record():
            for key, value in (shape.open(node, page) or {}).items():
                check_form(shape.keys[key].shape, value, page, key)
        case Names():
            for word, _, value in shape.open(node, page):
                check_form(shape.shape, value, page, word.text)
        case Many():
            for item in shape.open(node, page):
                check_form(shape.shape, item, page, name)
        case Either():
            fitting = [each for each in shape.shapes if _takes(each, node)]
            if len(fitting) == 1:
                check_form(fitting[0], node, page, name)


def _takes(shape: Shape, node: Node) -> bool:
    """Say whether a shape is of the form that a node has."""
    form: dict[type[Any], tuple[type[Any], ...]] = {
        Scalar: (Leaf,),
        Seq: (Many,),
        Map: (Record, Names),
    }
    return isinstance(shape, form.get(type(node), ()))
