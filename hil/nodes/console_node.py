"""A software node that is driven on its serial console, by lines of text.

    octets ──▶ lines ──latency──▶ done ──▶ echo, answer, prompt
                                    └────▶ log lines, where a state changed

* An envelope without octets says that the console was opened; where opening resets the node, it
  then restarts.
* While it is down nothing is heard; when it is up again it prints its boot line.
* `set power restart` answers and restarts.  The fault `silent` stops all answers but those to
  `set fault`; `chatty` prints log lines without a pause.
"""

from hil.core.instant import SECOND, Instant, earliest
from hil.core.signal import Kind, Value
from hil.nodes.line_program import LineProgram
from hil.nodes.model import Model
from hil.nodes.noise import Noise
from hil.nodes.settings import Settings
from hil.wire.console.description import Console
from hil.wire.console.lines import Kind as LineKind
from hil.wire.console.lines import Lines
from hil.wire.rack import Envelope, Node, far_end

LONGEST = 256
MOST_WAITING = 64


class ConsoleNode:
    """The machine of one node with a console and nothing else."""

    def __init__(
        self,
        node: Node,
        console: Console,
        model: Model,
        settings: Settings,
        noise: Noise,
        start: Instant,
    ) -> None:
        self.node = node
        self.model = model
        self.outbox: list[Envelope] = []
        self._console, self._noise = console, noise
        firmware = settings.text("firmware")
        model.values |= {"serial": node.identity.serial, "firmware": firmware}
        self._program = LineProgram(node, firmware)
        self._latency = settings.duration("fastest-answer"), settings.duration("slowest-answer")
        self._boot_time = settings.duration("boot-time")
        self._chatter = settings.duration("chatter")
        self._lines = Lines(LONGEST)
        self._jobs: list[tuple[Instant, str]] = []
        self._down_until: Instant | None = None
        self._next_chat: Instant | None = None
        self._boots, self._booted_at = 1, start
        model.start(start)
        self._shown = dict(model.values)

    def rehearse(self) -> None:
        """Word one status.  Raises WireError where a value cannot be written."""
        self._program.status(self.model.values, self._boots)

    @property
    def settled(self) -> bool:
        """Whether it has nothing to find out about other nodes."""
        return True

    # --- the machine ---------------------------------------------------------------------------

    def receive(self, thing: Envelope, now: Instant) -> None:
        """Take octets from the console, or the news that it was opened."""
        if not thing.payload:
            if self._console.opening_resets:
                self._go_down(now)
            else:
                self._print(self._program.prompt)
            return
        if self._down_until is not None:
            return
        for line in self._lines.feed(thing.payload, now):
            if line.kind is LineKind.WHOLE and len(self._jobs) < MOST_WAITING:
                due = Instant(now + self._noise.between(*self._latency))
                self._jobs.append((max(due, *(at for at, _ in self._jobs), due), line.text.strip()))

    def tick(self, now: Instant) -> None:
        """Do what is due: commands, movement, chatter, coming back after a restart."""
        if self._down_until is not None:
            if now < self._down_until:
                return
            self._boot(now)
        while self._jobs and self._jobs[0][0] <= now:
            self._do(self._jobs.pop(0)[1], now)
            if self._down_until is not None:
                return
        self.model.tick(now)
        self._log(now)
        if self._next_chat is not None and now >= self._next_chat:
            self._next_chat = Instant(now + self._chatter)
            self._print_line(f"[{self._uptime(now)}] pump: step {self._noise.word() % 1000:03d}")

    def next_wakeup(self) -> Instant | None:
        """Return when something is due."""
        if self._down_until is not None:
            return self._down_until
        job = self._jobs[0][0] if self._jobs else None
        return earliest(job, self.model.next_wakeup(), self._next_chat)

    def take_sends(self) -> tuple[Envelope, ...]:
        """Hand over what was printed."""
        sends = tuple(self.outbox)
        self.outbox.clear()
        return sends

    # --- lines ---------------------------------------------------------------------------------

    def _do(self, text: str, now: Instant) -> None:
        """Do what one line says, and answer."""
        if self._console.echo:
            self._print_line(text)
        self.model.look(now)
        answer = self._answer(text, now)
        silent = self.model.values.get("fault") == "silent" and not text.startswith("set fault")
        if answer and not silent:
            self._print_line(answer)
        self._log(now)
        if self.model.values.get("power") == "restart":
            self._go_down(now)
        elif self._console.prompt is not None:
            self._print(self._program.prompt)

    def _answer(self, text: str, now: Instant) -> str:
        if text == "id":
            return self._program.identity()
        if text == "status":
            return self._program.status(self.model.values, self._boots)
        if not text:
            return ""
        name, value, answer = self._program.command(text)
        if value is not None:
            self._drive(name, value, now)
        return answer

    def _drive(self, name: str, value: Value, now: Instant) -> None:
        self.model.drive(name, value, now)
        chatty = self.model.values.get("fault") == "chatty"
        self._next_chat = Instant(now + self._chatter) if chatty else None

    def _log(self, now: Instant) -> None:
        """Print a line for every state that has changed."""
        before, values = self._shown, self.model.values
        if values == before:
            return
        for signal in self.node.signals:
            name = signal.name
            if signal.kind is Kind.LABEL and values[name] != before.get(name):
                self._print_line(
                    f"[{self._uptime(now)}] {name}: {before.get(name)} to {values[name]}"
                )
        self._shown = dict(values)

    def _uptime(self, now: Instant) -> str:
        milliseconds = (now - self._booted_at) * 1000 // SECOND
        return f"{milliseconds // 1000:4d}.{milliseconds % 1000:03d}"

    def _print_line(self, text: str) -> None:
        self._print(f"{text}\r\n")

    def _print(self, text: str) -> None:
        line = self._console.address
        self.outbox.append(Envelope(line, far_end(line), text.encode()))

    # --- restart -------------------------------------------------------------------------------

    def _go_down(self, now: Instant) -> None:
        self._down_until = Instant(now + self._boot_time)
        self._jobs.clear()
        self._lines = Lines(LONGEST)
        self._next_chat = None

    def _boot(self, now: Instant) -> None:
        self._down_until = None
        self._boots += 1
        self._booted_at = now
        identity = {name: self.model.values[name] for name in ("serial", "firmware")}
        self.model.boot(now)
        self.model.values |= identity
        self._shown = dict(self.model.values)
        self._print_line(self._program.boot(self._boots))
        if self._console.prompt is not None:
            self._print(self._program.prompt)
