"""What the tool and one node say to each other on the node's serial console.

A console numbers nothing, so one thing is said at a time and the lines that come are compared with
what may answer it.  Everything else is log, wherever it comes between; an echo of what was said is
passed over once.

    opening ──(boot line, where opening resets the node)──▶ who are you? ──▶ commands, questions
                                                                └──▶ another node: nothing is said

An answer has until one absolute deadline, whatever comes in the meantime.  After one that was
missed nothing is said for as long again, or until it comes late or a prompt stands there: so it is
not taken for the answer to the next command.  hil.wire.link.Links owns timers and queues.
"""

import re
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from hil.core.event import ConsoleLine
from hil.core.instant import Instant, show_duration, since
from hil.core.observation import (
    Command,
    CommandLost,
    CommandSent,
    NodeNote,
    NodeTrouble,
)
from hil.wire.console.boots import Boots
from hil.wire.console.hearing import Hearing
from hil.wire.console.lines import Kind, Line, Lines
from hil.wire.console.naming import Naming
from hil.wire.console.readings import ConsoleReadings, Say
from hil.wire.console.turn import Aim, Turn
from hil.wire.console.turns import Turns
from hil.wire.console.wording import phrase
from hil.wire.encoding import WireError
from hil.wire.rack import Carries, Node, Role
from hil.wire.timers import Timer, Timers
from hil.wire.track import Track

if TYPE_CHECKING:
    from hil.wire.link import Packet

Send = Callable[[str, bytes, int | None], None]
Tell = Callable[[ConsoleLine], None]


class ConsoleTalk:
    """The tool's side of one console; `names` are the rack's nodes by their serial numbers.

    Where the node has an address of its own, its console is only listened to.  Console lines
    are told with instants that count from `start`.
    """

    def __init__(
        self,
        node: Node,
        timers: Timers,
        say: Say,
        send: Send,
        tell: Tell,
        start: Instant,
        names: Mapping[str, str],
    ) -> None:
        assert node.console is not None
        self.node, self.console = node, node.console
        console = node.console
        self._say, self._send, self._tell, self._start = say, send, tell, start
        self.track = Track()
        self._speaks = node.address == console.address
        self._signals = {signal.path: signal for signal in node.signals}
        self._lines = Lines(console.longest, console.prompt)
        self._silent = False
        self._readings = ConsoleReadings(node, console, timers, say)
        self._boots = Boots(node, console, start, say, counted=not boots_counted(node))
        prompts = console.prompt is not None
        self._turns = Turns(timers, node.answer_within, prompts, self._utter, self._give_up)
        asks = self._speaks and console.identify is not None
        self._naming = Naming(
            node, timers, say, self._ask_name, names, asks=asks, boots=lambda: self._boots.count
        )
        self._turns.unnamed = self._readings.held = asks
        self._hearing = Hearing(
            node,
            console,
            say,
            self._turns,
            self._naming,
            self._readings,
            self._boots,
            self._booted,
        )
        self._opening = Timer(timers, self._opened)
        self._polling = Timer(timers, self._poll)
        wait = console.boot_within + 1 if self._boots.awaited else 0
        self._opening.set(Instant(start + wait))

    # What the tool says

    def command(self, command: Command, now: Instant) -> None:
        """Say a command when its turn comes; one that cannot be said is lost at once."""
        name = command.signal.removeprefix(f"{self.node.name}.")
        words, signal = self.console.commands.get(name), self._signals.get(command.signal)
        if words is None or signal is None or not self._speaks:
            self._lose(command, now, f"{command.signal} cannot be driven")
            return
        if self._naming.refusal:
            self._lose(command, now, self._naming.refusal)
            return
        encoding, ending = self.node.encodings[name], self.console.ending
        try:
            octets = phrase(words.send, signal, encoding, command.value, ending)
        except WireError as error:
            self._lose(command, now, str(error))
            return
        turn = self._turn(Aim.COMMAND, octets, words.accept)
        turn.refuse, turn.command = words.refuse, command
        self._turns.put(turn, now)

    def inquire(self, now: Instant) -> None:
        """Make sure who the node is; answered by Confirmed or Unconfirmed."""
        self._naming.inquire(now)

    def _ask_name(self, now: Instant) -> None:
        question = self.console.identify
        if question is not None and not self._turns.under_way(Aim.IDENTIFY):
            octets = question.send.encode() + self.console.ending
            self._turns.put(self._turn(Aim.IDENTIFY, octets, question.answer), now)

    def _poll(self, due: Instant, now: Instant) -> None:
        """Ask for a reading, and again in time."""
        question = self.console.read
        if question is None or question.every is None:
            return
        self._polling.set(Instant(due + question.every * ((now - due) // question.every + 1)))
        if not self._turns.under_way(Aim.READ):
            octets = question.send.encode() + self.console.ending
            self._turns.put(self._turn(Aim.READ, octets, question.answer), now)

    def _turn(self, aim: Aim, octets: bytes, accept: re.Pattern[str] | None) -> Turn:
        text = octets.removesuffix(self.console.ending).decode()
        return Turn(aim, text, octets, accept)

    def _utter(self, turn: Turn) -> None:
        token = None if turn.command is None else turn.command.token
        self._send(self.node.name, turn.payload, token)

    def sent(self, packet: "Packet", at: Instant) -> None:
        """Learn when something was said; its answer time counts from here."""
        payload, token = packet.payload, packet.token
        octets = payload.removesuffix(self.console.ending)
        self._record(octets, octets.decode("utf-8", "backslashreplace"), at)
        if token is not None:
            self._say(CommandSent(token=token, at=at, raw=payload))
        self._turns.sent(payload, at)

    # How it begins, and what fails

    def _opened(self, due: Instant, now: Instant) -> None:
        """The line is open, and whatever the opening does to the node is over."""
        self._opening.clear()
        if self._boots.awaited:
            self._boots.missed(due)
        self._begin(now)

    def _begin(self, now: Instant) -> None:
        self._turns.held = False
        if not self._speaks:
            return
        if not self._naming.known:
            self._ask_name(now)
        self._turns.go(now)
        self._poll(now, now)

    def refused(self, at: Instant, text: str) -> None:
        """Learn that the line itself failed; nothing is known of the node any more."""
        turns = self._turns.drop_all()
        lost = [turn.command for turn in turns if turn.command is not None]
        if not self._silent or lost:
            self._note(NodeTrouble.UNREACHABLE, at, text)
        if not self._silent:
            self._readings.lose(at, text)
        self._silent = True
        for command in lost:
            self._lose(command, at, text)

    def _give_up(self, turn: Turn, due: Instant, now: Instant) -> None:
        missing = turn.missing(self._lines.rest)
        why = f"no answer within {show_duration(self.node.answer_within)}; {missing}"
        if turn.command is not None:
            self._lose(turn.command, due, why)
        elif turn.aim is Aim.IDENTIFY:
            refusal = self._naming.unanswered(f'asked "{turn.text}", {why}', due)
            if refusal:
                self._refuse_waiting(refusal, due)

    def _refuse_waiting(self, refusal: str, at: Instant) -> None:
        """Lose every command that is still to be said or answered: this is not the node."""
        for waiting in self._turns.drop_all(Aim.COMMAND):
            assert waiting.command is not None
            self._lose(waiting.command, at, refusal)

    def _lose(self, command: Command, at: Instant, why: str) -> None:
        self._say(CommandLost(token=command.token, at=at, detail=why))

    def _note(self, trouble: NodeTrouble, at: Instant, text: str, raw: bytes = b"") -> None:
        self._say(NodeNote(node=self.node.name, trouble=trouble, at=at, text=text, raw=raw))

    # What the node says

    def receive(self, packet: "Packet", now: Instant) -> None:
        """Take in octets as they came; none whatever raise anything."""
        self._silent = False
        for line in self._lines.feed(packet.payload, now):
            if line.kind is Kind.PROMPT:
                self._turns.ready(now)
            else:
                self._record(line.octets, line.text, line.at, line)
                self._hearing.hear(line, now)
                self._boots.heard(now)
        if self._naming.refusal:
            self._refuse_waiting(self._naming.refusal, now)

    def _booted(self, now: Instant) -> None:
        """The node has begun a new life: it forgot what it was asked, and may be another one."""
        self._readings.booted = now
        if self._turns.held:
            self._opening.clear()
            self._begin(now)
            return
        turn = self._turns.drop_open()
        if turn is not None and turn.command is not None:
            self._lose(turn.command, now, "the node rebooted before it answered")
        if self._speaks:
            self._naming.forget()
            self._turns.unnamed = not self._naming.known
            if self._turns.unnamed:
                self._ask_name(now)
        self._turns.go(now)

    def _record(self, octets: bytes, text: str, at: Instant, line: Line | None = None) -> None:
        self._tell(
            ConsoleLine(
                at=Instant(at - self._start),
                node=self.node.name,
                text=text,
                hex="" if text.encode("utf-8", "replace") == octets else octets.hex(),
                cut=line is not None and line.kind is Kind.CUT,
                way="out" if line is None else "in",
                lasted=0 if line is None else since(line.begun, at),
            )
        )


def boots_counted(node: Node) -> bool:
    """Say whether the node's own datagrams count its boots, or its time since the last one."""
    return any(
        field.carries in (Carries.BOOTS, Carries.UPTIME)
        for layout in node.layouts
        if layout.role is Role.READING
        for field in layout.fields
    )
