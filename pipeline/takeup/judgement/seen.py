"""The findings as the rules look at them: whose they are, how grave, what they ask for, what came after.

Severity is the vocabulary's or the row's, whichever is worse. A finding ends when an order that named it
was closed out as done, when its strand, the whole machine, or its place was looked at later and nothing was
found, or when its chain was renewed; a stop word by none of the latter two, but for one that a first load
tells of a chain long replaced.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from takeup.derive.lubesettings import DRY
from takeup.derive.vocabulary import (
    CORROSION,
    NOTE,
    NOTHING_FOUND,
    SEVERITIES,
    SLACK,
    SOON,
    STOP,
    UNCLASSIFIED,
    VOCABULARY,
    plain,
    stop_word,
)
from takeup.judgement.evidence import mixed
from takeup.judgement.facts import SEEN, VOCABULARY_SAYS, WORDS_SAY
from takeup.judgement.rule import Situation, among, choose, numbers, words, yes
from takeup.model import Job

if TYPE_CHECKING:
    from numpy.typing import NDArray

SEALS = ("seal_missing", "seal_crushed")


def seen(situation: Situation) -> pd.DataFrame:
    """The findings with their subject, effective severity, job, and what came after them."""
    strands, rows = situation.strands, situation.findings
    if not len(rows):
        names = ("row_id", "machine", "strand", "day", "pos", "finding", "severity", "place")
        more = ("remark", "raw_finding", "in_joint", "severity_from", "subject_kind", "subject", "job")
        said = ("site_word", "telling_word")
        after = ("looked_since", "renewed", "at")
        return pd.DataFrame({name: pd.Series(dtype=object) for name in names + more + said + after}).astype(
            {"looked_since": bool, "renewed": bool, "at": np.int64, "row_id": np.int64}
        )
    found = rows.reset_index(drop=True)
    strand, machine, word = words(found, "strand"), words(found, "machine"), words(found, "finding")
    at = pd.Index(words(strands, "strand")).get_indexer(strand)
    usual = {name: each.severity for name, each in VOCABULARY.items()} | {UNCLASSIFIED: NOTE}
    rank = {severity: place for place, severity in enumerate(SEVERITIES)}
    stated = np.array([rank.get(name, rank[NOTE]) for name in words(found, "severity")])
    worse = np.minimum(stated, [rank[usual.get(name, SOON)] for name in word])
    worse[yes(found, "stop_class")] = rank[STOP]
    severity = np.array(SEVERITIES, dtype=object)[worse]
    by_word = np.array([usual.get(name, SOON) for name in word], dtype=object)
    origin = choose(
        (words(found, "stated") == severity, SEEN),
        ((word != UNCLASSIFIED) & (by_word == severity), VOCABULARY_SAYS),
        otherwise=WORDS_SAY,
    )
    pos = numbers(found, "pos")
    fitted = numbers(strands, "fitted_day")
    renewed = (at >= 0) & (numbers(found, "day") < np.where(at >= 0, fitted[at], -np.inf))
    return found.assign(
        at=at,
        subject_kind=np.where(strand != "", "strand", "machine"),
        subject=np.where(strand != "", strand, machine),
        severity=severity,
        severity_from=origin,
        telling_word=np.where(origin == WORDS_SAY, words(found, "telling_word"), ""),
        job=_jobs(found, severity, _never_oiled(strands, strand, machine, at)),
        looked_since=(_looked(found, pos) > pos) & (severity != STOP),
        renewed=renewed & ((severity != STOP) | yes(found, "first_load")),
    )


def corroded(rows: pd.DataFrame) -> NDArray[np.bool_]:
    """Which findings of :func:`seen` are of corrosion, and stop nothing."""
    severity = words(rows, "severity")
    return np.asarray(np.isin(words(rows, "finding"), CORROSION) & (severity != STOP), dtype=bool)


def found_in_life(situation: Situation, wanted: Collection[str]) -> NDArray[np.bool_]:
    """Whether one of these findings was seen on each strand in its present life."""
    strands, rows = situation.strands, situation.findings
    hit = np.zeros(len(strands), dtype=bool)
    if len(rows):
        at = pd.Index(words(strands, "strand")).get_indexer(words(rows, "strand"))
        good = (at >= 0) & np.isin(words(rows, "finding"), list(wanted))
        good &= numbers(rows, "day") >= numbers(strands, "fitted_day")[at]
        hit[at[good]] = True
    return hit


def still_open(situation: Situation, rows: pd.DataFrame) -> pd.Series[bool]:
    """Which findings of :func:`seen` still ask for work."""
    is_open = rows["severity"].ne(NOTE) | rows["finding"].eq(UNCLASSIFIED)
    is_open &= rows["finding"].ne(NOTHING_FOUND) & ~rows["looked_since"] & ~rows["renewed"]
    is_open[is_open] = ~closed_out(situation, rows[is_open])
    return is_open


def seals_lost(situation: Situation) -> NDArray[np.bool_]:
    """Strands with an open finding of seals missing or crushed, on them or on their machine."""
    strands, rows = situation.strands, situation.findings
    found = np.zeros(len(strands), dtype=bool)
    if not len(rows):
        return found
    bears = np.isin(words(rows, "finding"), (*SEALS, NOTHING_FOUND))
    told = seen(replace(situation, findings=rows[bears]))
    lost = told[still_open(situation, told) & told["finding"].isin(SEALS)]
    whole = lost.loc[lost["subject_kind"] == "machine", "machine"]
    found |= among(words(strands, "machine"), whole)
    found[lost.loc[lost["at"] >= 0, "at"].to_numpy(np.int64)] = True
    return found


def closed_out(situation: Situation, seen: pd.DataFrame) -> NDArray[np.bool_]:
    """Whether an order that named each finding was closed out as done on its day or later.

    What an order did not name, such as a finding of the same days that came in after it was done, stays open.
    """
    closed = situation.closed
    done = [closed.get(row, -np.inf) for row in zip(seen["job"], seen["row_id"].tolist(), strict=True)]
    return np.array(done, dtype=np.float64) >= seen["day"].to_numpy(dtype=np.float64)


def subjects(situation: Situation, seen: pd.DataFrame) -> pd.DataFrame:
    """Every strand and machine, with a hash of the findings that bear on it."""
    strands = situation.strands
    names, machine = words(strands, "strand"), words(strands, "machine")
    sums = pd.Series(mixed(seen["row_id"].to_numpy(np.int64)), dtype=np.int64)
    by_subject = sums.groupby([seen["subject_kind"], seen["subject"]]).sum() if len(seen) else sums
    kinds = ["strand"] * len(names) + ["machine"] * len(np.unique(machine))
    frame = pd.DataFrame(
        {
            "subject_kind": kinds,
            "subject": np.concatenate((names, np.unique(machine))),
            "machine": np.concatenate((machine, np.unique(machine))),
            "at": np.concatenate((np.arange(len(names)), np.full(len(np.unique(machine)), -1))),
        }
    )
    others = seen[["subject_kind", "subject", "machine", "at"]]
    frame = pd.concat([frame, others]).drop_duplicates(["subject_kind", "subject"])
    key = pd.MultiIndex.from_frame(frame[["subject_kind", "subject"]])
    of_machine = pd.MultiIndex.from_arrays([["machine"] * len(frame), frame["machine"]])
    if len(seen):
        own = by_subject.reindex(key, fill_value=0).to_numpy()
        above = by_subject.reindex(of_machine, fill_value=0).to_numpy()
    else:
        own = above = np.zeros(len(frame), dtype=np.int64)
    # A look at the whole machine bears on its strands too.
    total = np.where(frame["subject_kind"] == "strand", own + above, own)
    return frame.assign(key=total).set_index(["subject_kind", "subject"])


def _never_oiled(
    strands: pd.DataFrame, strand: NDArray[Any], machine: NDArray[Any], at: NDArray[Any]
) -> NDArray[np.bool_]:
    """Whether a finding may be on a chain that is dry by decision, so that it asks for no lubricant.

    One on a machine that does not say on which strand may be on any of them. Of a strand without a chain that
    runs nobody knows the plan.
    """
    dry = words(strands, "lube_plan") == DRY
    some_dry = among(machine, words(strands, "machine")[dry])
    on_strand = (at < 0) | (dry[at] if dry.size else True)
    return np.where(strand != "", on_strand, some_dry)


def _jobs(seen: pd.DataFrame, severity: NDArray[Any], never_oiled: NDArray[np.bool_]) -> NDArray[Any]:
    """The work each finding asks for."""
    jobs: list[Job] = []
    columns = (words(seen, name) for name in ("finding", "remark"))
    for word, remark, how, dry in zip(*columns, severity, never_oiled, strict=True):
        known = VOCABULARY.get(word)
        if known is None:
            jobs.append(Job.INVESTIGATE_FRACTURE if how == STOP else Job.CORRECT_DATA)
        elif how == STOP and not known.stop_class and (word == SLACK or stop_word(remark)):
            # Slack after one event may be stretched links; a remark may tell more than its word.
            jobs.append(Job.INVESTIGATE_FRACTURE)
        else:
            # Lubrication is never asked for on a chain that is dry by decision.
            fit = [job for job in known.jobs if not (dry and job is Job.LUBRICATE)]
            jobs.append(fit[0] if fit else Job.INSPECT_ALIGNMENT)
    return np.array(jobs, dtype=object)


def _looked(seen: pd.DataFrame, pos: NDArray[np.float64]) -> NDArray[np.float64]:
    """Position of the newest look at each finding's strand, or whole machine, that found nothing.

    A look that names its place speaks of that place alone.
    """
    nothing = words(seen, "finding") == NOTHING_FOUND
    strand, machine = words(seen, "strand"), words(seen, "machine")
    where = pd.Series(words(seen, "place"))
    place = where.map({text: plain(text) for text in where.unique()}).to_numpy(dtype=object)
    whole = nothing & (strand == "")
    newest = np.full(len(seen), np.nan)
    for looks, who in ((whole, machine), (nothing & ~whole, strand)):
        latest = pd.Series(pos[looks]).groupby([who[looks], place[looks]]).max()
        if latest.empty:
            continue
        for there in (place, np.full(len(seen), "", dtype=object)):
            at = latest.reindex(pd.MultiIndex.from_arrays([who, there])).to_numpy(dtype=np.float64)
            newest = np.fmax(newest, np.where(who == "", np.nan, at))
    return newest
