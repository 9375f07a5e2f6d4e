"""What all journal events share."""

from dataclasses import dataclass
from typing import ClassVar

from hil.core.instant import Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """What all events share."""

    kind: ClassVar[str] = ""
    at: Instant
