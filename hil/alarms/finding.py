"""Findings of the review and of comparisons: what is odd on paper, and what to do.

Codes are stable: `AL-` and three digits, of which the first says what it is about.

    AL-0xx  accepted findings     AL-4xx  values as displayed
    AL-1xx  bands                 AL-5xx  colours and other cues
    AL-2xx  dead bands            AL-6xx  usual practice
    AL-3xx  delays and times      AL-7xx  two specs, or a spec and a node

An error means that the spec cannot be carried out or proven as written; a warning that it hardly
does what its author wants; an advice is a matter of judgement.  The table below is the reference.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import Enum

from hil.alarms.spec import Acceptance
from hil.core.error import Mark


class Severity(Enum):
    """How much a finding matters."""

    ERROR = "error"
    WARNING = "warning"
    ADVICE = "advice"


_E, _W, _A = Severity.ERROR, Severity.WARNING, Severity.ADVICE

CODES: dict[str, tuple[Severity, str]] = {
    "AL-001": (_W, "a finding is accepted that is not there"),
    "AL-002": (_E, "an error is accepted"),
    "AL-101": (_E, "a value of the range is in no band"),
    "AL-102": (_W, "two bands leave a gap that no count falls into"),
    "AL-103": (_E, "a value of the range is in two bands"),
    "AL-104": (_W, "two bands overlap where no count falls"),
    "AL-105": (_E, "a band cannot be reached"),
    "AL-106": (_E, "bands are out of order, or one has no trip point"),
    "AL-107": (_W, "a band is narrower than the accuracy of the signal"),
    "AL-108": (_W, "a band is narrower than one count"),
    "AL-109": (_A, "a trip point lies between two counts"),
    "AL-201": (_E, "a dead band is on the wrong side of its trip point"),
    "AL-202": (_W, "a dead band is wider than the band it reaches into"),
    "AL-203": (_E, "an alarm cannot clear"),
    "AL-204": (_W, "a dead band is smaller than the noise"),
    "AL-205": (_W, "a dead band is implausibly wide"),
    "AL-206": (_W, "a dead band is smaller than one count"),
    "AL-301": (_W, "a delay is shorter than the time between two samples"),
    "AL-302": (_W, "a delay is shorter than the bus takes to carry the change"),
    "AL-303": (_E, "the indicators cannot agree in the time stated"),
    "AL-304": (_E, "a value is stale before the next sample is due"),
    "AL-305": (_W, "the start-up hold is shorter than the sensor's warm-up"),
    "AL-306": (_A, "accumulated time is never forgotten"),
    "AL-307": (_W, "silence comes before staleness"),
    "AL-308": (_W, "a delay cannot be measured as finely as its tolerance"),
    "AL-401": (_W, "a displayed value contradicts its colour"),
    "AL-402": (_A, "a trip point cannot be displayed"),
    "AL-403": (_W, "a dead band is lost in the rounding that decides"),
    "AL-501": (_W, "adjacent bands look the same"),
    "AL-502": (_W, "adjacent bands are told apart by colours that people confuse"),
    "AL-503": (_A, "adjacent colours are easily confused, but a second cue tells them apart"),
    "AL-504": (_W, "a colour says something else than usual"),
    "AL-505": (_W, "a light flashes more than three times a second"),
    "AL-506": (_A, "a flash rate is unusual"),
    "AL-507": (_E, "a missing reading looks like a band"),
    "AL-508": (_E, "an indicator has nothing to show for a state"),
    "AL-509": (_W, "an indicator shows another colour than the band has"),
    "AL-510": (_W, "a colour name has no colour"),
    "AL-601": (_A, "a dead band is far from the usual starting point"),
    "AL-602": (_A, "a delay is far from the usual starting point"),
    "AL-701": (_W, "units cannot be compared"),
    "AL-702": (_W, "a band is in one spec only"),
    "AL-703": (_W, "trip points differ"),
    "AL-704": (_W, "trip points differ by a round factor, as a slip of units does"),
    "AL-705": (_W, "an edge belongs to another band"),
    "AL-706": (_W, "dead bands differ"),
    "AL-707": (_W, "delays differ"),
    "AL-708": (_W, "colours differ"),
    "AL-709": (_W, "behaviour differs"),
    "AL-710": (_E, "a limit is not set in the node"),
    "AL-711": (_E, "a limit in the node is not that of the spec"),
}
"""Every code with its severity and title."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One finding: `where` names what it is about, `why` is one sentence, `advice` what to do.

    `accepted` is the author's reason to live with it, or empty.
    """

    code: str
    mark: Mark
    where: tuple[str, ...]
    why: str
    advice: str
    accepted: str = ""

    @property
    def severity(self) -> Severity:
        return CODES[self.code][0]

    @property
    def title(self) -> str:
        return CODES[self.code][1]

    def __str__(self) -> str:
        word = f"accepted: {self.accepted}" if self.accepted else self.severity.value
        return f"{self.mark}: {self.code} {word}: {self.why}\n    try: {self.advice}"


def accept(findings: Iterable[Finding], accepted: Iterable[Acceptance]) -> tuple[Finding, ...]:
    """Mark what the author accepts; an acceptance of an error or of nothing is a finding itself."""
    result = list(findings)
    for acceptance in accepted:
        places = [place for place, one in enumerate(result) if _covers(acceptance, one)]
        for place in places:
            if result[place].severity is not Severity.ERROR:
                result[place] = replace(result[place], accepted=acceptance.reason)
        if not places:
            result.append(_odd("AL-001", acceptance, "is accepted, but not found", "remove it"))
        elif any(result[place].severity is Severity.ERROR for place in places):
            why = "is an error, which cannot be accepted"
            result.append(_odd("AL-002", acceptance, why, "correct what it is about"))
    return tuple(result)


def _covers(acceptance: Acceptance, finding: Finding) -> bool:
    where = acceptance.where
    return acceptance.code == finding.code and (not where or where in finding.where)


def _odd(code: str, acceptance: Acceptance, why: str, advice: str) -> Finding:
    where = (acceptance.where,) if acceptance.where else ()
    subject = f"{acceptance.code} for {acceptance.where}" if acceptance.where else acceptance.code
    return Finding(
        code=code, mark=acceptance.mark, where=where, why=f"{subject} {why}", advice=advice
    )
