"""What every section of the page is: a fold over the events it names, and a template.

A new kind of measurement gets a section of its own: a class here or beside, its template in
`templates/sections/`, and its name in `SECTIONS` of hil.report.page.sections.
"""

from collections.abc import Mapping
from typing import ClassVar, Protocol

from hil.core.event import Event
from hil.report.result import RunResult

Shown = Mapping[str, object]


class Section(Protocol):
    """One section: it hears the kinds of events it names, in the order of the journal."""

    kinds: ClassVar[frozenset[str]]
    name: ClassVar[str]
    """Its anchor in the page and the name of its template."""
    title: ClassVar[str]

    def receive(self, event: Event) -> None:
        """Take in an event of one of these kinds; never raises."""

    def shown(self, result: RunResult) -> Shown | None:
        """Return what the template needs; None where there is nothing to show."""
