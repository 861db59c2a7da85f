"""Answers become verdicts with facts, for what is due and for whoever asks why."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from takeup.judgement.answered import answered
from takeup.judgement.evidence import evidence
from takeup.judgement.facts import day, known
from takeup.judgement.reads import settings_read
from takeup.judgement.rule import Columns
from takeup.judgement.rules import registered
from takeup.judgement.running import run_since, running_facts
from takeup.model import Answer, Job, Urgency, Verdict

if TYPE_CHECKING:
    from takeup.judgement.answered import Answered
    from takeup.judgement.rule import Rule, Situation
    from takeup.judgement.settings import JudgementSettings


def explain(
    strand: str, situation: Situation, settings: JudgementSettings, rules: Sequence[Rule] | None = None
) -> list[Verdict]:
    """Every rule's answer about one strand, with facts, margin and turning point.

    Parameters
    ----------
    strand : str
    situation : Situation
        Of :class:`takeup.judgement.judging.Judged`.
    settings : JudgementSettings
    rules : sequence of Rule, optional
        Instead of :func:`takeup.judgement.rules.registered`.

    Returns
    -------
    list of Verdict
        About the strand, its set, its machine, and rows and values of it that are kept out or missing; empty
        for a strand without an open life.
    """
    of_strand = situation.strands[situation.strands["strand"] == strand]
    if of_strand.empty:
        return []
    place = of_strand.iloc[0]
    named = (("strand", strand), ("set", place["set"]), ("machine", place["machine"]))
    subjects = {pair for pair in named if pair[1]}  # a strand that no register names may have no machine
    told: list[Verdict] = []
    for each in answered(situation, settings, registered() if rules is None else rules):
        answers = each.answers
        pairs = zip(answers["subject_kind"], answers["subject"], strict=True)
        mine = np.fromiter((pair in subjects for pair in pairs), dtype=bool, count=len(answers))
        sources = (answers["subject_kind"] == "source") & (answers["answer"] != Answer.CLEAR.value)
        told += [
            verdict
            for verdict in verdicts(each, np.flatnonzero(mine | sources).tolist(), situation, settings)
            if verdict.subject_kind != "source" or _names(verdict, strand)
        ]
    return told


def verdicts(
    each: Answered, places: Iterable[int], situation: Situation, settings: JudgementSettings
) -> Iterator[Verdict]:
    """The verdicts at some places of a rule's answers, with facts.

    Parameters
    ----------
    each : Answered
    places : iterable of int
    situation : Situation
    settings : JudgementSettings
    """
    read, at = _Read(Columns(each.answers), situation.columns), each.answers["at"].tolist()
    for place in places:
        yield _verdict(each.rule, _StrandRow(read, place, int(at[place])), situation, settings)


class _Read(dict[str, tuple[list[Any], bool]]):
    """The columns that a rule's facts read, and whether each is the rule's own: looked for once."""

    def __init__(self, own: Columns, strands: Columns) -> None:
        super().__init__()
        self.own, self.strands = own, strands

    def __missing__(self, name: str) -> tuple[list[Any], bool]:
        whose = self.own if name in self.own else self.strands
        if name not in whose:
            raise KeyError(name)
        self[name] = found = whose[name], whose is self.own
        return found


class _StrandRow(Mapping[str, Any]):
    """A rule's row over its strand's: few of the many columns are ever read, so none is copied."""

    def __init__(self, read: _Read, place: int, at: int) -> None:
        self._read, self._place, self._at = read, place, at

    def __getitem__(self, name: str) -> Any:
        values, own = self._read[name]
        if own:
            return values[self._place]
        if self._at < 0:
            raise KeyError(name)
        return values[self._at]

    def __iter__(self) -> Iterator[str]:
        yield from self._read.own
        if self._at >= 0:
            yield from (name for name in self._read.strands if name not in self._read.own)

    def __len__(self) -> int:
        return sum(1 for _ in self)


def _verdict(
    rule: Rule, row: Mapping[str, Any], situation: Situation, settings: JudgementSettings
) -> Verdict:
    run = run_since(row, situation)
    return Verdict(
        rule=rule.name,
        subject_kind=row["subject_kind"],
        subject=row["subject"],
        answer=Answer(row["answer"]),
        machine=row["machine"],
        job=Job(row["job"]) if row["job"] else None,
        urgency=Urgency(row["urgency"]) if row["urgency"] else None,
        value=_number(row["value"]),
        threshold=_number(row["threshold"]),
        margin=_number(row["margin"]),
        unit=row["unit"],
        turning_hours=_number(row["turning_hours"]),
        turning_on=day(row["turning_day"]),
        turning_to=row["turning_to"],
        need_by=day(row["need_by_day"]),
        buy_by=day(row["buy_by_day"]),
        reason=row["case"],
        evidence=evidence(rule, row, situation, () if run is None else (run.from_row, run.to_row)),
        facts=(*rule.facts(row, settings), *running_facts(run)),
        settings=settings_read(rule.reads, row, settings),
    )


def _number(value: Any) -> float | None:
    return float(value) if known(value) else None


def _names(verdict: Verdict, strand: str) -> bool:
    return any(fact.name == "strands" and strand in fact.value for fact in verdict.facts)
