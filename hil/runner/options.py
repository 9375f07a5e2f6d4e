"""What somebody asked a run to do."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """A run as asked for on the command line.

    `plans` are files or folders; `tags` and `only` choose cases, a case needs any one of the
    tags; `served` software nodes run elsewhere already; `shuffle` is a seed; `repeat` runs every case so often; a failed case is tried `retries`
    times more; `command` is the command line, for the record.  `known` is a file of known faults;
    `history` is where runs are remembered, empty where they are not; `if_changed` is a command
    that is told what changed.
    """

    plans: tuple[str, ...] = ("testplans",)
    bench: str = "fixtures/glasshouse.yaml"
    virtual: bool = False
    served: bool = False
    tags: tuple[str, ...] = ()
    only: str = ""
    shuffle: int | None = None
    repeat: int = 1
    retries: int = 0
    reports: str = "reports"
    command: tuple[str, ...] = ()
    known: str = ""
    history: str = ""
    if_changed: str = ""
    terminal: str = ""
    """The terminal at which somebody answers what plans ask; empty where nobody does."""
    unattended: str = "the run is unattended"
    """Why nobody does."""
