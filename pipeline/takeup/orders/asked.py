"""Which order a due verdict belongs to.

Replacing, shortening and sprockets are asked for a set; measuring, lubricating, aligning and investigating
for a machine with its strands listed. Correcting data for a feed, with all that is kept out or missing of it
in one list; but what a rule about a strand wants put right, for feed and case, as ``lube_records/greased``:
it ends by an answer of its own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from takeup.errors import OurFault
from takeup.judgement.cases import CORRECTED_FEED
from takeup.model import Feed, Job, Urgency, Verdict
from takeup.orders.answers import Question
from takeup.orders.days import latest
from takeup.orders.places import Names, Places

Key = tuple[Job, str]  # job and subject: one open order each

SET_JOBS = frozenset({Job.REPLACE_SET, Job.SPROCKETS, Job.ADJUST_TAKEUP})

#: facts that date what was seen or measured, as against what is forecast from it
EVIDENCE_FACTS = frozenset(
    {
        "survey_on",
        "set_aside_on",
        "takeup_on",
        "shortened_on",
        "last_lube_on",
        "given_on",
        "greased_on",
        "seen_on",
        "lag_on",
        "checked_on",
        "gauged_on",
        "fitted_on",
    }
)


@dataclass(frozen=True)
class Asked:
    """A due verdict, the order it belongs to, and the day of its newest evidence (None: not dated)."""

    verdict: Verdict
    job: Job
    urgency: Urgency
    subject_kind: str
    subject: str
    machine: str
    strands: Names
    evidence_on: date | None

    @property
    def key(self) -> Key:
        """Job and subject."""
        return self.job, self.subject

    @property
    def question(self) -> Question:
        """Rule and the verdict's own subject."""
        return self.verdict.rule, self.verdict.subject


def asked(due: Iterable[Verdict], places: Places) -> list[Asked]:
    """Each due verdict with its order; a sprocket shaft that drives several sets asks for each of them."""
    return [each for verdict in due for each in _asked(verdict, places)]


def facts_named(verdict: Verdict, name: str) -> list[object]:
    """The values of the facts of this name."""
    return [fact.value for fact in verdict.facts if fact.name == name]


def _asked(verdict: Verdict, places: Places) -> Iterable[Asked]:
    job, urgency = verdict.job, verdict.urgency
    if job is None or urgency is None:
        raise OurFault(
            f"rule {verdict.rule!r} answers due for {verdict.subject!r} without a job or an urgency",
            why="A planner could do nothing with such an order.",
            todo="A rule's outcome must name both.",
        )
    strands = places.strands(verdict.subject_kind, verdict.subject)
    machine = verdict.machine or next((places.machine_of.get(strand, "") for strand in strands), "")
    evidence_on = latest(
        *(
            fact.value
            for fact in verdict.facts
            if fact.name in EVIDENCE_FACTS and isinstance(fact.value, date)
        )
    )
    subjects: list[tuple[str, str, Names]] = []
    if job is Job.CORRECT_DATA:
        # Of records: the strands whose verdicts want them, though the records keep no machine.
        subjects = [("source", _source(verdict), strands or _concerned(verdict))]
    elif job in SET_JOBS:
        subjects = [
            ("set", name, places.strands("set", name) or strands)
            for name in places.sets(verdict.subject_kind, verdict.subject)
        ]
    elif job is Job.INVESTIGATE_FRACTURE:
        # Every part of the loop, and of the paired strand, has seen the same event.
        whole = {
            strand
            for name in places.sets(verdict.subject_kind, verdict.subject)
            for strand in places.strands("set", name)
        }
        strands = tuple(sorted(whole)) or strands
    if not subjects:
        # Strands that no register names may hang on no machine; each then stands for itself.
        where = ("machine", machine) if machine else (verdict.subject_kind, verdict.subject)
        subjects = [(*where, strands)]
    for kind, subject, which in subjects:
        yield Asked(verdict, job, urgency, kind, subject, machine, which, evidence_on)


def _concerned(verdict: Verdict) -> Names:
    return tuple(
        sorted({str(strand) for named in facts_named(verdict, "strands") for strand in _each(named)})
    )


def _each(named: object) -> tuple[object, ...]:
    return named if isinstance(named, tuple) else (named,)


def _source(verdict: Verdict) -> str:
    if verdict.subject_kind == "source":
        return verdict.subject.partition("/")[0]
    return f"{CORRECTED_FEED.get(verdict.rule, Feed.STRANDS.value)}/{verdict.reason}"
