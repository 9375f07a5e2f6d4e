"""Two alarm spec files side by side: which specs belong together, and where they differ.

Specs with the same name belong together, then those that are alone with one signal in both files.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from hil.alarms.comparison import compare
from hil.alarms.finding import Finding
from hil.alarms.spec import Spec
from hil.files.mistake import Misread
from hil.files.quantity import show_quantity, value_in
from hil.files.read import Path, read_alarms_in_own_units
from hil.wire.rack import Rack

Differences = tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Pairs with their differences (none where both say the same), and specs of one file only."""

    first: str
    second: str
    pairs: tuple[tuple[Spec, Spec, Differences], ...]
    first_only: tuple[Spec, ...]
    second_only: tuple[Spec, ...]

    @property
    def equal(self) -> bool:
        """Whether both files say the same."""
        alone = self.first_only or self.second_only
        return not alone and not any(differences for _, _, differences in self.pairs)


def compare_files(first: Path, second: Path, rack: Rack) -> Comparison:
    """Compare two files.  Raises DescriptionError where one cannot be read."""
    ours, theirs = (read_alarms_in_own_units(path, rack) for path in (first, second))
    pairs = _pairs(ours, theirs)
    ours_paired = [id(one) for one, _ in pairs]
    theirs_paired = [id(other) for _, other in pairs]
    return Comparison(
        first=str(first),
        second=str(second),
        pairs=tuple((one, other, compare(one, other, convert)) for one, other in pairs),
        first_only=tuple(spec for spec in ours if id(spec) not in ours_paired),
        second_only=tuple(spec for spec in theirs if id(spec) not in theirs_paired),
    )


def convert(value: Decimal, unit: str, into: str) -> Decimal:
    """Convert a value between units; raise ValueError where they measure different things."""
    try:
        return value_in(show_quantity(value, unit), into)
    except Misread as misread:
        raise ValueError(misread.what) from None


def _pairs(ours: Sequence[Spec], theirs: Sequence[Spec]) -> list[tuple[Spec, Spec]]:
    named = {spec.name: spec for spec in theirs}
    pairs = [(spec, named[spec.name]) for spec in ours if spec.name in named]
    taken = {spec.name for spec, _ in pairs}
    left = [spec for spec in ours if spec.name not in taken]
    right = [spec for spec in theirs if spec.name not in taken]
    for spec in left:
        same = [other for other in right if other.signal == spec.signal]
        if len(same) == 1 and [one.signal for one in left].count(spec.signal) == 1:
            pairs.append((spec, same[0]))
    return pairs
