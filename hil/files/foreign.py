"""A plan that has nothing to do with a bench: one sentence instead of a mistake for every line."""

import re

from hil.core.count import counted
from hil.core.error import Mark, Mistake
from hil.files.mistake import Page, listed, nearest
from hil.wire.rack import Rack


def made_short(page: Page, rack: Rack) -> list[Mistake]:
    """Return the mistakes of a plan; one that says so where it names no node of the bench at all.

    A name that is like one of the bench's is a slip of the pen, and told as that.
    """
    mistakes = page.mistakes
    names = [node.name for node in rack.nodes]
    strange = sorted(page.strangers)
    if len(mistakes) < 2 or not strange or _names_one(page, names):
        return mistakes
    if all(nearest(name, names) for name in strange):
        return mistakes
    what = (
        f"this plan is about nodes that the bench {rack.name} does not have, such as "
        f"{listed(strange[:3], 'and')} ({counted(len(mistakes), 'mistake')})"
    )
    hint = "name its bench file with --bench, or the benches it is for at its top: benches: [NAME]"
    return [Mistake(Mark(page.file, 1, 1), what, hint)]


def _names_one(page: Page, names: list[str]) -> bool:
    """Say whether a signal of one of these nodes may stand on the page.

    Where there are variables, one of them may stand for the name alone.
    """
    end = r"(?![\w-])" if page.has_variables else r"\.\w"
    any_name = "|".join(map(re.escape, names))
    return re.search(rf"(?<![\w-])(?:{any_name}){end}", page.text) is not None
