"""What stood on a node's serial console."""

from dataclasses import dataclass
from typing import ClassVar

from hil.core.event.event import Event


@dataclass(frozen=True, slots=True, kw_only=True)
class ConsoleLine(Event):
    """One line of a node's serial console, said by the node (`in`) or by the tool (`out`).

    `hex` are its octets, without the line end, where `text` alone does not tell them; `cut` says
    that the line was too long and this is a piece of it.  It began `lasted` ns before it ended.
    """

    kind: ClassVar[str] = "console-line"
    node: str
    text: str
    hex: str = ""
    cut: bool = False
    way: str = "in"
    lasted: int = 0
