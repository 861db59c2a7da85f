"""All rules answer for all subjects: what is due with its facts, the rest as a frame."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from takeup.errors import OurFault
from takeup.judgement import evidence
from takeup.judgement.facts import day, known
from takeup.judgement.prognosis import prognosis
from takeup.judgement.rule import Columns, History, Rule, Situation
from takeup.judgement.rules import registered
from takeup.judgement.settings import JudgementSettings
from takeup.model import Answer, Job, KeptOut, Urgency, Verdict
from takeup.wear.calibration import FleetTable

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: columns of the verdicts frame
COLUMNS = (
    "rule", "subject_kind", "subject", "machine", "answer", "reason", "value", "threshold", "margin",
    "margin_u", "unit", "turning_hours", "turning_day", "urgency", "job", "need_by_day", "buy_by_day",
    "evidence_key",
)  # fmt: skip
_SUBJECT = ["subject_kind", "subject"]


@dataclass(frozen=True)
class Judged:
    """What a night's judging gives.

    Attributes
    ----------
    verdicts : DataFrame
        One row a rule and subject: :data:`COLUMNS`. Texts are blank, numbers NaN where they do not apply;
        ``job`` and ``urgency`` only when due, the most urgent where findings ask for several jobs;
        ``margin`` is positive while clear and ``margin_u`` its expanded uncertainty, both in ``unit``;
        ``evidence_key`` changes only with the rows used.
    due : tuple of Verdict
        With facts, in the order of the rules and then of the subjects.
    prognosis : DataFrame
        The state with limits, rate, dates: see :func:`takeup.judgement.prognosis.prognosis`.
    situation : Situation
        What the rules saw, for :func:`explain`.
    """

    verdicts: pd.DataFrame
    due: tuple[Verdict, ...]
    prognosis: pd.DataFrame
    situation: Situation


class _Answered(NamedTuple):
    rule: Rule
    answers: pd.DataFrame


def judge(
    state: pd.DataFrame,
    derived: Any,
    fleet: FleetTable,
    settings: JudgementSettings,
    as_of: date,
    history: History,
    *,
    kept_out: Iterable[KeptOut] = (),
    rules: Sequence[Rule] | None = None,
) -> Judged:
    """Every rule's answer for every subject, in one vector pass a rule.

    Parameters
    ----------
    state : DataFrame
        One row an open life, see ``takeup.derive.state``.
    derived : Derived
        Its frames ``surveys``, ``findings``, ``lube``, ``takeup``, ``sprockets``, ``shutdowns`` and its rows
        ``set_aside``.
    fleet : FleetTable
        The record of past forecasts in force.
    settings : JudgementSettings
    as_of : date
    history : mapping
        (job, subject of the order) to the day number of its last close-out as done.
    kept_out : iterable of KeptOut
        Rows refused or waiting.
    rules : sequence of Rule, optional
        Instead of :func:`takeup.judgement.rules.registered`.

    Returns
    -------
    Judged
    """
    number = (as_of - date(1970, 1, 1)).days
    strands = prognosis(state, derived.surveys, derived.shutdowns, fleet, settings, number)
    situation = Situation(
        strands=strands,
        as_of=number,
        history=history,
        surveys=derived.surveys,
        findings=derived.findings,
        lube=derived.lube,
        takeup=derived.takeup,
        sprockets=derived.sprockets,
        kept_out=(*kept_out, *derived.set_aside),
    )
    answered = _answered(situation, settings, registered() if rules is None else rules)
    # A subject whose findings ask for several jobs has a row for each; the first is the most urgent.
    told = [each.answers[list(COLUMNS)].drop_duplicates(_SUBJECT) for each in answered]
    verdicts = pd.concat(told, ignore_index=True)
    due = tuple(
        verdict
        for rule, answers in answered
        for verdict in _verdicts(rule, answers[answers["answer"] == Answer.DUE.value], situation, settings)
    )
    return Judged(verdicts, due, strands, situation)


def explain(
    strand: str, situation: Situation, settings: JudgementSettings, rules: Sequence[Rule] | None = None
) -> list[Verdict]:
    """Every rule's answer about one strand, with facts, margin and turning point.

    Parameters
    ----------
    strand : str
    situation : Situation
        Of :class:`Judged`.
    settings : JudgementSettings
    rules : sequence of Rule, optional

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
    subjects = {("strand", strand), ("set", place["set"]), ("machine", place["machine"])}
    told: list[Verdict] = []
    for rule, answers in _answered(situation, settings, registered() if rules is None else rules):
        pairs = zip(answers["subject_kind"], answers["subject"], strict=True)
        mine = np.fromiter((pair in subjects for pair in pairs), dtype=bool, count=len(answers))
        sources = (answers["subject_kind"] == "source") & (answers["answer"] != Answer.CLEAR.value)
        told += [
            verdict
            for verdict in _verdicts(rule, answers[mine | sources], situation, settings)
            if verdict.subject_kind != "source" or _names(verdict, strand)
        ]
    return told


def _names(verdict: Verdict, strand: str) -> bool:
    return any(fact.name == "strands" and strand in fact.value for fact in verdict.facts)


def _answered(situation: Situation, settings: JudgementSettings, rules: Sequence[Rule]) -> list[_Answered]:
    seen: dict[str, NDArray[np.int64]] = {}
    return [_Answered(rule, _whole(rule, rule.judge(situation, settings), situation, seen)) for rule in rules]


def _whole(
    rule: Rule, answers: pd.DataFrame, situation: Situation, seen: dict[str, NDArray[np.int64]]
) -> pd.DataFrame:
    """A rule's frame with what follows from its cases."""
    kinds, case = np.unique(answers["case"].to_numpy(dtype=object), return_inverse=True)
    unknown = [kind for kind in kinds if kind not in rule.outcomes]
    if unknown:
        raise OurFault(
            f"rule {rule.name!r} answers with {unknown[0]!r}, which is none of its cases",
            todo="Every case of a rule stands in its outcomes.",
        )
    outcomes = [rule.outcomes[kind] for kind in kinds]
    answer = np.array([str(outcome.answer) for outcome in outcomes], dtype=object)[case]
    urgency = np.array([str(outcome.urgency or "") for outcome in outcomes], dtype=object)[case]
    is_due = answer == Answer.DUE.value
    whole = answers.assign(rule=rule.name, answer=answer, reason=answers["case"])
    whole["urgency"] = np.where(is_due & _filled(answers, "urgency"), _column(answers, "urgency"), urgency)
    job = np.where(_filled(answers, "job"), _column(answers, "job"), rule.job.value)
    whole["job"] = np.where(is_due, job, "").astype(object)
    for name in ("margin_u", "need_by_day", "buy_by_day"):
        if name not in answers:
            whole[name] = np.nan
    if "evidence_key" not in answers:
        whole["evidence_key"] = _evidence_key(rule, answers, situation, seen)
    return whole


def _column(answers: pd.DataFrame, name: str) -> NDArray[Any]:
    """A column that a rule may leave out, blank where it does."""
    if name not in answers:
        return np.full(len(answers), "", dtype=object)
    return answers[name].fillna("").to_numpy(dtype=object)


def _filled(answers: pd.DataFrame, name: str) -> NDArray[np.bool_]:
    return np.asarray(_column(answers, name) != "", dtype=bool)


def _evidence_key(
    rule: Rule, answers: pd.DataFrame, situation: Situation, seen: dict[str, NDArray[np.int64]]
) -> NDArray[np.int64]:
    """The key over a rule's evidence columns; those of the strands are reckoned once for all rules."""
    parts = []
    at = answers["at"].to_numpy(dtype=np.int64)
    for name in rule.evidence:
        if name in answers:
            parts.append(evidence.keys(answers, (name,)))
        elif name in situation.strands:
            if name not in seen:
                seen[name] = evidence.keys(situation.strands, (name,))
            parts.append(np.where(at >= 0, seen[name][at], 0) if len(seen[name]) else at)
    return evidence.mixed(*parts) if parts else evidence.mixed(np.zeros(len(answers), dtype=np.int64))


def _verdicts(
    rule: Rule, answers: pd.DataFrame, situation: Situation, settings: JudgementSettings
) -> Iterator[Verdict]:
    """The verdicts of these answers, with facts."""
    own, strands = Columns(answers), situation.columns
    for place, at in enumerate(answers["at"].tolist()):
        yield _verdict(rule, _StrandRow(own, place, strands, at), settings)


class _StrandRow(Mapping[str, Any]):
    """A rule's row over its strand's: few of the many columns are ever read, so none is copied."""

    def __init__(self, own: Columns, place: int, strands: Columns, at: int) -> None:
        self._own, self._place, self._strands, self._at = own, place, strands, at

    def __getitem__(self, name: str) -> Any:
        if name in self._own:
            return self._own[name][self._place]
        if self._at < 0:
            raise KeyError(name)
        return self._strands[name][self._at]

    def __iter__(self) -> Iterator[str]:
        yield from self._own
        if self._at >= 0:
            yield from (name for name in self._strands if name not in self._own)

    def __len__(self) -> int:
        return sum(1 for _ in self)


def _verdict(rule: Rule, row: Mapping[str, Any], settings: JudgementSettings) -> Verdict:
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
        need_by=day(row["need_by_day"]),
        buy_by=day(row["buy_by_day"]),
        reason=row["case"],
        evidence=_rows(rule, row),
        facts=rule.facts(row, settings),
    )


def _rows(rule: Rule, row: Mapping[str, Any]) -> tuple[int, ...]:
    """Row ids of the rule's evidence columns, sorted."""
    ids: set[int] = set()
    for name in rule.evidence:
        found = row.get(name)
        listed = found if isinstance(found, list | tuple) else [found]
        ids |= {int(value) for value in listed if value is not None and known(value) and value >= 0}
    return tuple(sorted(ids))


def _number(value: Any) -> float | None:
    return float(value) if known(value) else None
