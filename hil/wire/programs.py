"""The programs of a bench: signals that the bench computer drives itself, by running something."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from hil.core.signal import Signal, Value

PLACEHOLDER = "{value}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Programs:
    """The programs of one signal: an argument list for each label, or one for any text.

    In the latter `{value}` stands for the text, inside of whichever argument; nothing is ever
    handed to a shell.
    """

    signal: Signal
    by_label: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    template: tuple[str, ...] = ()

    def declared(self, value: Value) -> tuple[str, ...]:
        """Return the argument list for a value as it is declared."""
        return self.template or self.by_label[str(value)]

    def filled(self, value: Value) -> list[str]:
        """Return the argument list that is run for a value."""
        if not self.template:
            return list(self.by_label[str(value)])
        return [part.replace(PLACEHOLDER, str(value)) for part in self.template]
