"""One resource that is read: what is on its way for it, and what its payloads say."""

from collections.abc import Callable

from hil.core.instant import Duration, Instant, show_duration
from hil.core.observation import NodeNote, NodeTrouble, Samples
from hil.core.signal import Sample, Validity
from hil.wire.coap.code import code_name, is_success
from hil.wire.coap.description import NAMES_OF_FORMATS, Resource
from hil.wire.coap.event import Answered, Notified, option_number
from hil.wire.coap.number import Unreadable
from hil.wire.coap.option import Option
from hil.wire.coap.payload import Content, Missing, open_payload
from hil.wire.coap.report import Origin, Report
from hil.wire.coap.value import read_fact
from hil.wire.rack import Node
from hil.wire.reception import Say
from hil.wire.timers import Timer, Timers


class Reading:
    """The resource; `subscription` and `open` are the handles of what is on its way.

    What would be complained of again and again is noted once, until something else is the case.
    """

    def __init__(self, resource: Resource, node: Node, timers: Timers, say: Say) -> None:
        self.resource = resource
        self.signals = tuple(f"{node.name}.{name}" for name in resource.signals)
        self.subscription: int | None = None
        self.open: int | None = None
        self.polling: Timer | None = None
        self._node, self._say = node.name, say
        self._origin = Origin(resource, node)
        self._complaint = ""
        self._ageing = self._age(node, timers)

    def content(self, event: Answered | Notified, raw: bytes) -> Content | None:
        """Return what a message says; None, noted, where it says nothing that can be used."""
        resource, at = self.resource, event.at
        if not is_success(event.code):
            word = event.payload[:80].decode("utf-8", "replace")
            why = f"{code_name(event.code)}{': ' if word else ''}{word}"
            self.complain(NodeTrouble.REFUSED, at, f"{resource.place}: {why}", raw)
            paths = self.signals
            samples = [Sample(path, None, Validity.INVALID, at, at, why, raw) for path in paths]
            self._say(Samples(self._node, samples))
            return None
        given = option_number(event.options, Option.CONTENT_FORMAT)
        try:
            if given is not None and given != resource.format.number:
                name = NAMES_OF_FORMATS.get(given, f"format {given}")
                raise Unreadable(f"is {name}, declared is {resource.format.value}")
            return open_payload(event.payload, resource.format)
        except Unreadable as error:
            self._note(NodeTrouble.GARBLED, at, f"payload of {resource.place} {error}", raw)
            return None

    def facts(self, content: Content, at: Instant, raw: bytes) -> dict[str, str]:
        """Return what a payload tells about the node."""
        facts = {}
        for name, part in self.resource.facts.items():
            try:
                facts[name] = read_fact(content, part)
            except (Missing, Unreadable) as error:
                text = f"{name}, in {self.resource.place}: {error}"
                self.complain(NodeTrouble.GARBLED, at, text, raw)
        return facts

    def report(
        self,
        content: Content,
        since: Instant,
        at: Instant,
        raw: bytes,
        booted: Instant | None,
        doubt: str,
    ) -> None:
        """Say what a payload says about the signals."""
        for timer, age in self._ageing:
            timer.set(Instant(at + age))
        self._say(Report(self._origin, content, min(since, at), at, raw, booted, doubt))

    def be_content(self) -> None:
        """All is well again: the same complaint would be news."""
        self._complaint = ""

    def complain(self, trouble: NodeTrouble, at: Instant, text: str, raw: bytes = b"") -> None:
        """Note what is wrong with the resource, once until it changes."""
        if self._complaint != text:
            self._complaint = text
            self._note(trouble, at, text, raw)

    def _note(self, trouble: NodeTrouble, at: Instant, text: str, raw: bytes) -> None:
        self._say(NodeNote(node=self._node, trouble=trouble, at=at, text=text, raw=raw))

    def _age(self, node: Node, timers: Timers) -> list[tuple[Timer, Duration]]:
        """Let signals go stale; those that go stale together by one timer."""
        groups: dict[Duration, list[str]] = {}
        for signal in node.signals:
            if signal.stale_after is not None and signal.path in self.signals:
                groups.setdefault(signal.stale_after, []).append(signal.path)
        return [(Timer(timers, self._staleness(paths, age)), age) for age, paths in groups.items()]

    def _staleness(self, paths: list[str], age: Duration) -> Callable[[Instant, Instant], None]:
        note = f"nothing for {show_duration(age)}"

        def grow_stale(due: Instant, now: Instant) -> None:
            samples = [Sample(path, None, Validity.STALE, due, due, note) for path in paths]
            self._say(Samples(self._node, samples))

        return grow_stale
