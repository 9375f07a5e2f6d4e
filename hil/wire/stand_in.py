"""What a bench has that does, or sees, what plans ask of a person."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from hil.core.plan import Expectation
from hil.core.signal import Value


@dataclass(frozen=True, slots=True, kw_only=True)
class StandIn:
    """By the wording of an action what is driven instead; by that of a look what means yes."""

    acts: Mapping[str, tuple[tuple[str, Value], ...]] = field(default_factory=dict)
    looks: Mapping[str, tuple[Expectation, ...]] = field(default_factory=dict)


def wording(text: str) -> str:
    """Return a text as it is compared: without capitals, with single blanks.

    >>> wording("Cover  the light sensor ")
    'cover the light sensor'
    """
    return " ".join(text.split()).casefold()
