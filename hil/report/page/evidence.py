"""The evidence of a case that did not pass: plots of its checks, and datagrams in words."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from hil.core.event import CheckDecided, ConsoleLine, Datagram
from hil.core.signal import Sample
from hil.report.page.decoding import Decoding, Told
from hil.report.page.dossier import Chapter, Dossier
from hil.report.page.moments import START, STIMULUS, origin_of
from hil.report.page.plot import Seen, described, draw_check
from hil.report.page.span import Span, decision, lead, spans_of

PLOTS = 6
"""So many checks of a case are plotted."""

FIRST, LAST, AFTER = 10, 30, 6
"""So many datagrams are shown after the stimulus, around the decision, and after the step."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """One picture: the name of its file, its content, and in words what it shows."""

    file: str
    content: str
    words: str
    check: CheckDecided


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One datagram as it is shown; `since` is its time from the stimulus in nanoseconds.

    `changed` are its fields as (name, value, whether a check was about it): all of the first of
    its kind, then those that are no longer what they were.
    """

    since: int
    way: str
    node: str
    told: Told | None
    changed: tuple[tuple[str, str, bool], ...]
    hex: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Traffic:
    """The datagrams of one step, in time from `origin`; `skipped` were left out in the middle."""

    step: int | None
    origin: str
    rows: tuple[Row, ...]
    skipped: int
    nodes: str


class Evidence:
    """Plots and datagrams of one case, by its attempts."""

    def __init__(self, dossier: Dossier, decoding: Decoding) -> None:
        self._dossier, self._decoding = dossier, decoding
        self._spans = list(spans_of(dossier))
        self._samples: dict[str, list[Sample]] | None = None
        self._drawn = 0

    def plots(self, chapter: Chapter) -> list[Plot]:
        """Return the plots of the checks of an attempt that did not pass."""
        found = []
        for check in chapter.wrong:
            span = self._span(chapter, check.step)
            if self._drawn >= PLOTS or span is None or check.stimulus is None:
                continue
            origin = origin_of(check, chapter.tales)
            seen = replace(self._seen(check, check.stimulus, span), origin=origin)
            content = draw_check(check, seen)
            if content is not None:
                self._drawn += 1
                name = f"case-{self._dossier.index + 1:05d}-{self._drawn}.svg"
                words = described(check, seen)
                found.append(Plot(file=name, content=content, words=words, check=check))
        return found

    def traffic(self, chapter: Chapter) -> list[Traffic]:
        """Return the datagrams around what went wrong in an attempt."""
        return [
            self._traffic(span)
            for span in self._spans
            if span.chapter is chapter and span.nodes and self._within(span)
        ]

    def _span(self, chapter: Chapter, step: int) -> Span | None:
        fits = (span for span in self._spans if span.chapter is chapter and span.step == step)
        return next(fits, None)

    def _seen(self, check: CheckDecided, stimulus: int, span: Span) -> Seen:
        ends = [decision(check), stimulus + sum(t for n, t in check.timing if n in _LONG)]
        end = max(ends)
        room = lead(stimulus, end)
        start, end = max(stimulus - room, span.start), end + room
        samples = sorted(self._of(check.signal), key=lambda sample: sample.at)
        last = max(check.at, decision(check))
        inside = [sample for sample in samples if start <= sample.at <= min(end, last)]
        before = [sample for sample in samples if sample.at < start][-1:]
        signal = self._decoding.signals.get(check.signal)
        return Seen(
            samples=[*before, *inside],
            start=start,
            end=end,
            known_until=min(end, span.end, max(check.at, decision(check))),
            unit="" if signal is None else signal.unit,
        )

    def _of(self, signal: str) -> list[Sample]:
        if self._samples is None:
            self._samples = {}
            for sample in self._all():
                self._samples.setdefault(sample.signal, []).append(sample)
        return self._samples.get(signal, [])

    def _all(self) -> Iterator[Sample]:
        """Yield the samples of all datagrams that came in, then those of all console lines."""
        dossier, decoding = self._dossier, self._decoding
        for datagram in (*dossier.before.values(), *dossier.datagrams):
            if datagram.way == "in":
                yield from decoding.samples(datagram, dossier.asked)
        for chapter in dossier.chapters:
            for line in chapter.console:
                if isinstance(line, ConsoleLine):
                    yield from decoding.line_samples(line)

    def _within(self, span: Span) -> list[Datagram]:
        return [
            datagram
            for datagram in self._dossier.datagrams
            if span.start <= datagram.at <= span.end and datagram.node in span.nodes
        ]

    def _traffic(self, span: Span) -> Traffic:
        checks = [check for check in span.chapter.wrong if check.step == span.step]
        stimuli = [check.stimulus for check in checks if check.stimulus is not None]
        began = min(stimuli, default=span.start)
        origins = [origin_of(check, span.chapter.tales) for check in checks]
        origin = next(iter(origins), STIMULUS if span.step else START)
        moments = [decision(check) for check in checks]
        over = max((check.at for check in checks), default=span.end)
        blamed = {check.node for check in checks}
        datagrams = [one for one in self._within(span) if one.at <= over]
        late = [one for one in self._within(span) if one.at > over and one.way == "in"]
        datagrams += [one for one in late if one.node in blamed][:AFTER]
        kept = _chosen(datagrams, began, max(moments, default=span.end))
        rows = _rows(kept, began, self._decoding, {check.signal for check in checks})
        return Traffic(
            step=span.step,
            origin=origin,
            rows=tuple(rows),
            skipped=len(datagrams) - len(kept),
            nodes=", ".join(sorted(span.nodes)),
        )


_LONG = ("within", "hold", "to", "never")


def _chosen(datagrams: Sequence[Datagram], began: int, decided: int) -> list[Datagram]:
    """Choose the datagrams after the stimulus and around the decision, in their order."""
    if len(datagrams) <= FIRST + LAST:
        return list(datagrams)
    order = range(len(datagrams))
    first = [at for at in order if datagrams[at].at >= began][:FIRST]
    near = sorted(order, key=lambda at: abs(datagrams[at].at - decided))[:LAST]
    return [datagrams[at] for at in sorted({*first, *near})]


def _rows(
    datagrams: Iterable[Datagram], began: int, decoding: Decoding, about: set[str]
) -> Iterable[Row]:
    shown: dict[tuple[str, str], dict[str, str]] = {}
    for datagram in datagrams:
        told = decoding.tell(datagram)
        changed: tuple[tuple[str, str, bool], ...] = ()
        if told is not None:
            last = shown.setdefault((datagram.node, told.layout), {})
            changed = tuple(
                (name, value, f"{datagram.node}.{name}" in about)
                for name, value in told.parts
                if last.get(name) != value or f"{datagram.node}.{name}" in about
            )
            last.update(told.parts)
        yield Row(
            since=datagram.at - began,
            way=datagram.way,
            node=datagram.node,
            told=told,
            changed=changed,
            hex=datagram.hex,
        )
