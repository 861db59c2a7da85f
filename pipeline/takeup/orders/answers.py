"""Tonight's answer to each question, and whether it rests on more than an order knew.

An order may only end by an answer that rests on something the order did not know. The verdicts frame says
so in ``evidence_known``: the night from which the evidence of a verdict has been what it is
(:func:`evidence_known`). A row dated later, delivered later, put right or retracted all make it a newer
night; the passing of days does not.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from takeup.model import Answer, Order, Reason

if TYPE_CHECKING:
    import pandas as pd

Question = tuple[str, str]  # rule and subject

_QUESTION = ["rule", "subject_kind", "subject"]


class Row(NamedTuple):
    """One row of the verdicts frame. ``past_doubt``: the margin is more than its uncertainty."""

    clear: bool
    past_doubt: bool
    known: int


@dataclass(frozen=True)
class Answers:
    """Rows of the verdicts frame by question."""

    rows: dict[Question, tuple[Row, ...]]

    def known(self, question: Question) -> int:
        """The night from which the evidence is what it is; 0 where the question was not asked tonight."""
        return max((row.known for row in self.rows.get(question, ())), default=0)

    def released(self, reason: Reason, order: Order) -> bool:
        """Whether a reason of an order no longer holds.

        Every row for its question must be clear, past the threshold by more than its uncertainty, and rest on
        evidence newer than the order's. *Cannot judge*, or no row at all, releases nothing.
        """
        found = self.rows.get((reason.rule, reason.subject), ())
        return bool(found) and all(
            row.clear and row.past_doubt and row.known > order.newest_known for row in found
        )


def answers(verdicts: pd.DataFrame, questions: set[Question]) -> Answers:
    """Tonight's answers to these questions.

    Parameters
    ----------
    verdicts : DataFrame
        Columns ``rule``, ``subject``, ``answer``, ``margin``, ``evidence_known`` and, where the rules give
        it, ``margin_u``: the expanded uncertainty of the margin (NaN or no column: 0).
    questions : set of (rule, subject)
        Those that orders rest on; a plant has far more verdicts.
    """
    asked = verdicts["rule"].isin({rule for rule, _ in questions})
    kept = verdicts[asked & verdicts["subject"].isin({subject for _, subject in questions})]
    margin = kept["margin"].to_numpy(dtype=np.float64)
    doubt = kept["margin_u"].to_numpy(dtype=np.float64) if "margin_u" in kept else np.zeros(len(kept))
    # A rule without a number has nothing to be past: its word is enough.
    past_doubt = np.isnan(margin) | (margin > np.nan_to_num(doubt))
    clear = (kept["answer"] == Answer.CLEAR).to_numpy(dtype=bool)
    known = kept["evidence_known"].to_numpy(dtype=np.int64)
    # Lists, because a column of texts is slow to walk cell by cell.
    columns = (clear.tolist(), past_doubt.tolist(), known.tolist())
    rows: dict[Question, list[Row]] = defaultdict(list)
    for question, row in zip(
        zip(kept["rule"].tolist(), kept["subject"].tolist(), strict=True),
        map(Row, *columns),
        strict=True,
    ):
        if question in questions:
            rows[question].append(row)
    return Answers({question: tuple(found) for question, found in rows.items()})


def evidence_known(verdicts: pd.DataFrame, before: pd.DataFrame, night: int) -> pd.Series[int]:
    """The night from which each verdict's evidence has been what it is.

    Parameters
    ----------
    verdicts : DataFrame
        Tonight's: ``rule``, ``subject_kind``, ``subject``, ``evidence_key``.
    before : DataFrame
        The last told: the same columns and ``evidence_known``; may be empty.
    night : int
        Tonight's number.

    Returns
    -------
    Series of int64
        In the order of ``verdicts``: as before where the evidence key is the same, else ``night``.
    """
    known = verdicts[[*_QUESTION, "evidence_key"]].merge(
        before[[*_QUESTION, "evidence_key", "evidence_known"]],
        how="left",
        on=[*_QUESTION, "evidence_key"],
        validate="many_to_one",
    )["evidence_known"]
    return known.fillna(night).astype(np.int64).set_axis(verdicts.index)
