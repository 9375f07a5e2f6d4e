"""The verdicts of a job: collected for the step, and journalled as checks."""

from collections.abc import Sequence

from hil.core.error import Mark
from hil.core.event import CheckDecided
from hil.core.expectation import Figure
from hil.core.instant import Instant
from hil.core.scene import Scene
from hil.core.verdict import Outcome


class Verdicts:
    """What a job at work has decided; `where` begins its sentences, `index` and `step` its events."""

    def __init__(self, scene: Scene, where: str, index: int, step: int, mark: Mark) -> None:
        self.outcomes: list[Outcome] = []
        self.reasons: list[str] = []
        self._scene = scene
        self._where, self._mark = where, mark
        self._index, self._step = index, step

    def state(
        self,
        path: str,
        outcome: Outcome,
        now: Instant,
        *,
        wanted: str,
        when: str,
        got: str,
        note: str = "",
        margin: float | None = None,
        figures: Sequence[Figure] = (),
        seen: int = 0,
    ) -> None:
        """Take down one verdict about the signal at `path`."""
        text = f"{self._where}: {path}: {got}, wanted {wanted}, {when}"
        text = f"{text}; {note}" if note else text
        self.outcomes.append(outcome)
        if outcome is not Outcome.PASS:
            self.reasons.append(text)
        clear = outcome in (Outcome.PASS, Outcome.FAIL)
        self._scene.events.append(
            CheckDecided(
                at=self._scene.since_origin(now),
                index=self._index,
                step=self._step,
                signal=path,
                node=path.split(".", 1)[0],
                wanted=wanted,
                when=when,
                outcome=outcome.word,
                got=got,
                elapsed=None,
                change=None,
                margin=round(margin, 6) if margin is not None and clear else None,
                gap=None,
                seen=seen,
                text=text,
                place=str(self._mark),
                figures=tuple(figures),
            )
        )
