"""What people saw asks for its own work, and a fracture always for a look at the whole system.

Severity is the vocabulary's or the row's, whichever is worse. A stop word ends only by close-out: a new chain
or a later look does not answer why it broke. But what a plant's history tells of a chain long replaced, come
with the first load, is no news, and there is no order to close: there a stop word ends with its chain. Other
findings also end when the strand was looked at later and nothing was found, or its chain was renewed. Free
words outside the vocabulary are read by a person, at once if they hold a stop word. Pitting and rust are left
to ``corrosion_review`` where they stop nothing. Source: common practice, no source; chain-drive symptoms
agree with MIL-HDBK-1164, Table 48.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from takeup.derive.vocabulary import NOTE, NOTHING_FOUND, SEVERITIES, SOON, STOP, UNCLASSIFIED
from takeup.judgement.facts import SEEN, known
from takeup.judgement.facts import facts as facts_of
from takeup.judgement.rule import (
    CLEAR,
    NEXT_SHUTDOWN,
    PLAN,
    STOP_NOW,
    THIS_WEEK,
    Row,
    Rule,
    Situation,
    answers,
    choose,
    numbers,
    words,
)
from takeup.judgement.seen import corroded, seen, still_open, subjects
from takeup.judgement.settings import JudgementSettings
from takeup.judgement.told import lube_plan_facts
from takeup.model import Fact, Job, Urgency

if TYPE_CHECKING:
    from numpy.typing import NDArray


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:  # noqa: ARG001
    """One row for each subject and job with an open finding, else one for the subject."""
    rows = seen(situation)
    rows = rows[~corroded(rows)]
    every = subjects(situation, rows)
    due = _due(rows[still_open(situation, rows)], every)
    quiet = every[~every.index.isin(pd.MultiIndex.from_frame(due[["subject_kind", "subject"]]))]
    noted = rows["severity"].eq(NOTE) & rows["finding"].ne(NOTHING_FOUND) & ~rows["renewed"]
    case = choose(
        (_any(quiet, rows[noted & ~rows["looked_since"]]), "noted"),
        (_any(quiet, rows[rows["finding"].ne(NOTHING_FOUND)]), "closed"),
        otherwise="none_open",
    )
    quiet = quiet.reset_index()
    clear = answers(
        quiet,
        case,
        subject_kind="",
        subject=quiet["subject"],
        at=quiet["at"].to_numpy(),
        evidence_key=quiet["key"].to_numpy(np.int64),
    )
    clear["subject_kind"] = quiet["subject_kind"]
    return pd.concat([due, clear], ignore_index=True) if len(due) else clear


def _due(open_rows: pd.DataFrame, every: pd.DataFrame) -> pd.DataFrame:
    """One row for each subject and job, the most urgent first, told by its most urgent and newest finding."""
    if not len(open_rows):
        return pd.DataFrame({"subject_kind": [], "subject": []})
    order = {severity: place for place, severity in enumerate(SEVERITIES)}
    rows = open_rows.assign(
        rank=open_rows["severity"].map(order),
        unread=open_rows["finding"].eq(UNCLASSIFIED),
        newest=-open_rows["pos"].to_numpy(dtype=np.float64),
        stop_pos=open_rows["pos"].astype(np.float64).where(open_rows["severity"].eq(STOP)),
    )
    rows = rows.sort_values(["subject_kind", "subject", "rank", "unread", "newest", "row_id"], kind="stable")
    groups = rows.groupby(["subject_kind", "subject", "job"], sort=False)
    head = groups.head(1).reset_index(drop=True)
    key = every["key"].reindex(pd.MultiIndex.from_frame(head[["subject_kind", "subject"]])).to_numpy(np.int64)
    severity, unread = words(head, "severity"), head["unread"].to_numpy()
    case = choose(
        (unread & (severity == STOP), "unread_stop"),
        (unread, "unread"),
        (head["job"] == Job.INVESTIGATE_FRACTURE, "fracture"),
        (severity == STOP, "stop"),
        (severity == SOON, "soon"),
        otherwise="shutdown",
    )
    frame = answers(
        head,
        case,
        subject_kind="",
        subject=head["subject"],
        at=head["at"].to_numpy(),
        job=[job.value for job in head["job"]],
        urgency=np.where(unread & (severity == SOON), Urgency.THIS_WEEK.value, "").astype(object),
        evidence_key=key,
        evidence_rows=[its.tolist() for _, its in groups["row_id"]],
        finding=words(head, "finding"),
        findings=[tuple(dict.fromkeys(found)) for _, found in groups["finding"]],
        severity=severity,
        severity_from=words(head, "severity_from"),
        place=words(head, "place"),
        remark=words(head, "remark"),
        as_written=words(head, "raw_finding"),
        site_word=words(head, "site_word"),
        telling_word=words(head, "telling_word"),
        seen_day=numbers(head, "day"),
        stop_pos=groups["stop_pos"].min().to_numpy(),
    )
    frame["subject_kind"] = head["subject_kind"]
    return frame


def _any(every: pd.DataFrame, rows: pd.DataFrame) -> NDArray[np.bool_]:
    return np.asarray(every.index.isin(pd.MultiIndex.from_frame(rows[["subject_kind", "subject"]])))


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """The most urgent finding, how many stand behind it, and the plan where it asks for lubricant."""
    if row["case"] in ("noted", "closed", "none_open"):
        return ()
    told = facts_of(
        {
            "finding": row["finding"],
            "findings": row["findings"],
            "as_written": row["as_written"],
            "site_word": row["site_word"],
            "telling_word": row["telling_word"],
            "remark": row["remark"],
            "place": row["place"],
            "seen_on": row["seen_day"],
            "rows": len(row["evidence_rows"]),
        },
        SEEN,
    ) + facts_of({"severity": row["severity"]}, row["severity_from"])
    return told + lube_plan_facts(row, settings) if _wants_oil(row) else told


def _wants_oil(row: Row) -> bool:
    """Whether it asks for lubricant on a strand whose plan is known."""
    return bool(row["job"] == Job.LUBRICATE.value and row["at"] >= 0 and row["lube_plan"])


def oil(row: Row) -> Iterator[tuple[str, str]]:
    """What is accepted of the planned quantity, where lubricant is asked for."""
    if _wants_oil(row) and known(row["lube_quantity_ml"]) and row["lube_quantity_ml"] > 0:
        yield from (("lubrication", name) for name in ("least_part", "most_times"))


RULE = Rule(
    name="abnormal_finding",
    job=Job.INSPECT_ALIGNMENT,
    outcomes={
        "fracture": STOP_NOW,
        "unread_stop": STOP_NOW,
        "stop": STOP_NOW,
        "soon": THIS_WEEK,
        "shutdown": NEXT_SHUTDOWN,
        "unread": PLAN,
        "noted": CLEAR,
        "closed": CLEAR,
        "none_open": CLEAR,
    },
    judge=judge,
    facts=facts,
    evidence=("evidence_rows",),
    reads=(oil,),
)
