"""Where a bench file and the software model that it names do not fit together."""

from collections.abc import Iterable
from dataclasses import dataclass

from hil.core.error import DescriptionError, Mark, Mistake


@dataclass(frozen=True, slots=True, kw_only=True)
class Misfit:
    """One of them; `place` are the keys that lead to it from the root of the bench file."""

    what: str
    hint: str = ""
    place: tuple[str, ...] = ("software",)


class MisfitError(DescriptionError):
    """A software model cannot stand in for a rack; `misfits` holds all of it."""

    def __init__(self, file: str, misfits: Iterable[Misfit]) -> None:
        self.misfits = tuple(misfits)
        super().__init__([Mistake(Mark(file), one.what, one.hint) for one in self.misfits])
