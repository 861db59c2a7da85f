"""Pitting and rust are damage, not a stain: somebody looks where they sit, and whether the wear rate changed.

One note raises no order. Corrosion in the joints, seen on a second inspection, or followed by a rise of the
wear rate has somebody look into the joints at the next shutdown; so does an inspector's own word for it. The
chain's specification is reviewed with it, and what each option does not cure is said. Signs of corrosion are
often serious damage, for which the whole chain is replaced: American Chain Association, Standard Handbook of
Chains, 2nd ed., 2006, p. 385. That it takes two inspections is proposed for this project, no source.

A later look that found nothing ends what the latest finding asks for, the inspection closed out ends the
findings that it was asked for, and a new chain all. Corrosion whose remark tells of breaking stays with
``abnormal_finding``.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from takeup.derive.vocabulary import NOTHING_FOUND, SHUTDOWN, SOON
from takeup.judgement import evidence, reads
from takeup.judgement.facts import SEEN
from takeup.judgement.facts import facts as facts_of
from takeup.judgement.rule import (
    CLEAR,
    NEXT_SHUTDOWN,
    Row,
    Rule,
    Situation,
    answers,
    choose,
    numbers,
    words,
    yes,
)
from takeup.judgement.seen import closed_out, corroded, seen, subjects
from takeup.judgement.settings import JudgementSettings
from takeup.model import Fact, Job, Urgency

if TYPE_CHECKING:
    from numpy.typing import NDArray

_WHO = ["subject_kind", "subject"]


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:  # noqa: ARG001
    """Every strand and machine, by the corrosion seen on it in its present life."""
    rows = seen(situation)
    its = corroded(rows)
    every = subjects(situation, rows[its | rows["finding"].eq(NOTHING_FOUND)]).reset_index()
    told = every.join(_seen_on(rows[its & _in_life(rows, situation)], situation), on=_WHO)
    done = situation.done_on(Job.INSPECT_ALIGNMENT, words(told, "machine"))
    rose_on, before, after = _rise(situation, told["at"].to_numpy(dtype=np.int64))
    with np.errstate(invalid="ignore"):
        rose = (rose_on > numbers(told, "first_day")) & ~(rose_on <= done)
    asks = yes(told, "is_open") & ~yes(told, "looked_since")
    case = choose(
        (asks & yes(told, "in_joint"), "in_joints"),
        (rose, "rate_rose"),
        (asks & np.isin(words(told, "severity"), (SOON, SHUTDOWN)), "asked_for"),
        (asks & (numbers(told, "days") > 1), "seen_again"),
        (asks, "noted"),
        (~np.isnan(numbers(told, "newest_day")), "looked_into"),
        otherwise="none",
    )
    soon = asks & (words(told, "severity") == SOON)
    names = ("finding", "findings", "place", "remark", "raw_finding", "site_word", "newest_day", "days")
    shown: dict[str, Any] = {name: told[name].to_numpy() for name in names}
    frame = answers(
        told,
        case,
        subject_kind="",
        subject=words(told, "subject"),
        at=told["at"].to_numpy(),
        urgency=np.where(soon & (case != "noted"), Urgency.THIS_WEEK.value, "").astype(object),
        evidence_key=_evidence_key(told, situation),
        evidence_rows=[found if isinstance(found, list) else [] for found in told["row_ids"]],
        rose=rose,
        rose_from=before,
        rose_to=after,
        **shown,
    )
    frame["subject_kind"] = told["subject_kind"]
    return frame


def _in_life(rows: pd.DataFrame, situation: Situation) -> NDArray[np.bool_]:
    """Which findings are of a chain that still runs; those of a machine, of its oldest."""
    strands = situation.strands
    fitted = numbers(strands, "fitted_day")
    oldest = pd.Series(fitted).groupby(words(strands, "machine")).min()
    at = rows["at"].to_numpy(dtype=np.int64)
    of_strand = np.where(at >= 0, fitted[at] if len(fitted) else np.nan, np.nan)
    of_machine = oldest.reindex(words(rows, "machine")).to_numpy(dtype=np.float64)
    since = np.where(words(rows, "strand") != "", of_strand, of_machine)
    return np.asarray(numbers(rows, "day") >= since, dtype=bool)


def _seen_on(rows: pd.DataFrame, situation: Situation) -> pd.DataFrame:
    """The corrosion of each subject: its newest finding not yet looked into, and what all such say."""
    order = {SOON: 0, SHUTDOWN: 1}
    rows = rows.assign(
        rank=rows["severity"].map(order).fillna(len(order)).astype(np.int64),
        joint=yes(rows, "in_joint"),
        is_open=~closed_out(situation, rows.assign(job=Job.INSPECT_ALIGNMENT)),
    ).sort_values(["is_open", "pos", "row_id"], kind="stable")
    whole = rows.groupby(_WHO, sort=True)
    fresh = rows[rows["is_open"]].groupby(_WHO, sort=True)
    newest = rows.drop_duplicates(_WHO, keep="last").set_index(_WHO)
    names = ["finding", "place", "remark", "raw_finding", "site_word", "looked_since", "is_open"]
    return newest[names].assign(
        newest_day=newest["day"],
        first_day=whole["day"].min(),
        days=fresh["day"].nunique(),
        in_joint=fresh["joint"].any(),
        severity=fresh["rank"].min().map({place: word for word, place in order.items()}),
        findings=whole["finding"].agg(lambda found: tuple(dict.fromkeys(found[::-1]))),
        row_ids=whole["row_id"].agg(list),
    )


def _rise(
    situation: Situation, at: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Day on which a rise of each strand's rate was seen, and the rates before and after it; NaN for none."""
    strands = situation.strands
    found = (at >= 0) & yes(strands, "change_found")[at] if len(strands) else np.zeros(len(at), dtype=bool)

    def column(name: str) -> NDArray[np.float64]:
        return (
            np.where(found, numbers(strands, name)[at], np.nan) if len(strands) else np.full(len(at), np.nan)
        )

    return column("change_seen_day"), column("rate_before"), column("rate_after")


def _evidence_key(told: pd.DataFrame, situation: Situation) -> NDArray[np.int64]:
    """The findings and looks of each subject, and the survey that its rate stands on."""
    at = told["at"].to_numpy(dtype=np.int64)
    surveys = np.zeros(len(told), dtype=np.int64)
    if len(situation.strands):
        surveys = np.where(at >= 0, evidence.keys(situation.strands["survey_rows"])[at], 0)
    return evidence.mixed(told["key"].to_numpy(np.int64), surveys)


def _rates(row: Row) -> Iterator[reads.Name]:
    """What the rates were reckoned with, where a rise is told."""
    if row["rose"]:
        yield from reads.survey(row)
        yield from reads.rate(row)


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:  # noqa: ARG001
    """The newest finding, on how many days corrosion was seen, and the rise of the rate."""
    if row["case"] in ("none", "looked_into"):
        return ()
    told = facts_of(
        {
            "finding": row["finding"],
            "findings": row["findings"],
            "as_written": row["raw_finding"],
            "site_word": row["site_word"],
            "remark": row["remark"],
            "place": row["place"],
            "seen_on": row["newest_day"],
            "inspections": row["days"],
            "rows": len(row["evidence_rows"]),
        },
        SEEN,
    )
    if not row["rose"]:
        return told
    return told + facts_of(
        {"rate_before": round(row["rose_from"], 4), "rate_after": round(row["rose_to"], 4)}
    )


RULE = Rule(
    name="corrosion_review",
    job=Job.INSPECT_ALIGNMENT,
    outcomes={
        "in_joints": NEXT_SHUTDOWN,
        "rate_rose": NEXT_SHUTDOWN,
        "asked_for": NEXT_SHUTDOWN,
        "seen_again": NEXT_SHUTDOWN,
        "noted": CLEAR,
        "looked_into": CLEAR,
        "none": CLEAR,
    },
    judge=judge,
    facts=facts,
    evidence=("evidence_rows",),
    reads=(_rates,),
)
