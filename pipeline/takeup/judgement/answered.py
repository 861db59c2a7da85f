"""Every rule's answers with what follows from their cases: answer, job, urgency, evidence."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from takeup.errors import OurFault
from takeup.judgement import evidence
from takeup.model import Answer

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from takeup.judgement.rule import Rule, Situation
    from takeup.judgement.settings import JudgementSettings

#: columns of the verdicts frame
COLUMNS = (
    "rule", "subject_kind", "subject", "machine", "answer", "reason", "value", "threshold", "margin",
    "margin_u", "unit", "turning_hours", "turning_day", "urgency", "job", "need_by_day", "buy_by_day",
    "evidence_key",
)  # fmt: skip


class Answered(NamedTuple):
    """A rule and its frame: :data:`COLUMNS`, and the rule's own columns for its facts."""

    rule: Rule
    answers: pd.DataFrame

    @property
    def due(self) -> NDArray[np.int64]:
        """Places of the rows that are due."""
        return np.flatnonzero(self.answers["answer"].to_numpy(dtype=object) == Answer.DUE.value)


def answered(situation: Situation, settings: JudgementSettings, rules: Sequence[Rule]) -> list[Answered]:
    """Let every rule judge.

    Raises
    ------
    OurFault
        If a rule answers with a case that it did not declare.
    """
    seen: dict[str, NDArray[np.int64]] = {}
    return [Answered(rule, _whole(rule, rule.judge(situation, settings), situation, seen)) for rule in rules]


def _whole(
    rule: Rule, answers: pd.DataFrame, situation: Situation, seen: dict[str, NDArray[np.int64]]
) -> pd.DataFrame:
    kinds, case = np.unique(answers["case"].to_numpy(dtype=object), return_inverse=True)
    for kind in kinds:
        if kind not in rule.outcomes:
            raise OurFault(
                f"rule {rule.name!r} answers with {kind!r}, which is none of its cases",
                todo="Every case of a rule stands in its outcomes.",
            )
    outcomes = [rule.outcomes[kind] for kind in kinds]
    answer = np.array([outcome.answer.value for outcome in outcomes], dtype=object)[case]
    usual = np.array([outcome.urgency.value if outcome.urgency else "" for outcome in outcomes], dtype=object)
    is_due = answer == Answer.DUE.value
    given: dict[str, Any] = {
        "rule": rule.name,
        "answer": answer,
        "reason": answers["case"],
        "urgency": np.where(is_due, _stated(answers, "urgency", usual[case]), ""),
        "job": np.where(is_due, _stated(answers, "job", rule.job.value), ""),
    }
    given |= {name: np.nan for name in ("margin_u", "need_by_day", "buy_by_day") if name not in answers}
    if "evidence_key" not in answers:
        given["evidence_key"] = _evidence_key(rule, answers, situation, seen)
    whole: pd.DataFrame = answers.assign(**given)
    return whole


def _stated(answers: pd.DataFrame, name: str, usual: Any) -> NDArray[Any]:
    """What a rule's row says itself, else what its case means."""
    if name not in answers:
        return np.full(len(answers), usual, dtype=object)
    stated = answers[name].fillna("").to_numpy(dtype=object)
    return np.where(stated != "", stated, usual)


def _evidence_key(
    rule: Rule, answers: pd.DataFrame, situation: Situation, seen: dict[str, NDArray[np.int64]]
) -> NDArray[np.int64]:
    """The key over a rule's evidence columns; those of the strands are reckoned once for all rules."""
    at = answers["at"].to_numpy(dtype=np.int64)
    parts = [np.zeros(len(answers), dtype=np.int64)]
    for name in rule.evidence:
        if name in answers:
            parts.append(evidence.keys(answers[name]))
        elif name in situation.strands and len(situation.strands):
            if name not in seen:
                seen[name] = evidence.keys(situation.strands[name])
            parts.append(np.where(at >= 0, seen[name][at], 0))
    return evidence.mixed(*parts)
