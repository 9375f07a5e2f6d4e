"""Boots on a console: the line that a node prints when it starts, and a boot count.

A control line that moves when the port is opened restarts boards that are wired for it.  That boot
is the tool's own doing: where the bench file says that opening resets the node it is waited for,
elsewhere it is told with a warning.  Any other boot is the node's.  The line may tell who the node
is, in the groups `serial` and `firmware`.
"""

import re
from collections.abc import Callable

from hil.core.instant import SECOND, Duration, Instant, show_duration
from hil.core.observation import NodeNote, NodeTrouble, Observation
from hil.wire.console.description import Console
from hil.wire.console.lines import Line
from hil.wire.console.turn import shown
from hil.wire.identity import NAMES
from hil.wire.rack import Node

OPENING = Duration(3 * SECOND)
"""A boot so soon after the opening is put down to it, where nothing is declared."""


class Boots:
    """The boots of one node.  `awaited` while the boot that the opening causes has not come.

    `told` is what the latest boot line told of who the node is, `count` how often it has booted.

    With `counted` false somebody else counts the node's boots, and none is noted here but the one
    at the opening.
    """

    def __init__(
        self,
        node: Node,
        console: Console,
        start: Instant,
        say: Callable[[Observation], None],
        *,
        counted: bool,
    ) -> None:
        self._node, self._console, self._say = node, console, say
        self._start, self._counted = start, counted
        self.awaited = console.opening_resets and console.boot is not None
        self._early = not self.awaited
        self._heard: Instant | None = None
        self.told: dict[str, str] = {}
        self.count: str | None = None

    def heard(self, at: Instant) -> None:
        """The node has said something."""
        self._heard = at

    def look(self, text: str, line: Line) -> bool:
        """Return whether this line shows a boot; what is odd about it is noted."""
        pattern = self._console.boot
        match = pattern.fullmatch(text) if pattern is not None else None
        if match is None:
            return False
        groups = match.groupdict()
        self.count = groups.get("boots")
        self.told = {name: groups[name].strip() for name in NAMES if groups.get(name)}
        early = self._early and line.at - self._start <= OPENING
        if self.awaited:
            self._note(NodeTrouble.OPENED, line, "rebooted, because the console was opened")
        elif early:
            text = (
                "rebooted when the console was opened; where that is so, say `opening-resets: yes`"
            )
            self._note(NodeTrouble.OPENED, line, text)
        elif self._counted:
            self._note(NodeTrouble.REBOOT, line, f"boot line {shown(line.octets)}")
        self.awaited = self._early = False
        return True

    def counted(self, match: re.Match[str], line: Line) -> bool:
        """Look at the boot count in a reading; return whether it shows a boot."""
        told = match.groupdict().get("boots")
        before, self.count = self.count, told if told is not None else self.count
        if told is None or before is None or told == before:
            return False
        self._note(NodeTrouble.REBOOT, line, f"boot count {told}, was {before}")
        return True

    def missed(self, at: Instant) -> None:
        """Give up waiting for the boot that the opening causes."""
        self.awaited = self._early = False
        within = show_duration(self._console.boot_within)
        text = f"no boot line within {within} of opening the console; going on without"
        name, opened = self._node.name, NodeTrouble.OPENED
        self._say(NodeNote(node=name, trouble=opened, at=at, text=text))

    def _note(self, trouble: NodeTrouble, line: Line, text: str) -> None:
        name, since, raw = self._node.name, self._heard, line.octets
        self._say(NodeNote(node=name, trouble=trouble, at=line.at, text=text, raw=raw, since=since))
