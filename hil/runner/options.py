"""What somebody asked a run to do."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """A run as asked for on the command line.

    `plans` are files or folders; `tags` and `only` choose cases, a case needs any one of the
    tags; `served` software nodes run elsewhere already; `shuffle` is a seed; `repeat` runs every case so often; a failed case is tried `retries`
    times more; `command` is the command line, for the record.
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
