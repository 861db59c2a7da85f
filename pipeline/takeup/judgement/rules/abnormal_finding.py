"""What people saw asks for its own work, and a fracture always for a look at the whole system.

Severity is the vocabulary's or the row's, whichever is worse. A stop word ends only by close-out: a new chain
or a later look does not answer why it broke. But what a plant's history tells of a chain long replaced, come
with the first load, is no news, and there is no order to close: there a stop word ends with its chain. Other
findings also end when the strand was looked at later and nothing was found, or its chain was renewed. Free
words outside the vocabulary are read by a person, at once if they hold a stop word. Source: common practice,
no source; chain-drive symptoms agree with MIL-HDBK-1164, Table 48.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from takeup.derive.vocabulary import (
    NOTE,
    NOTHING_FOUND,
    SHUTDOWN,
    SLACK,
    SOON,
    STOP,
    UNCLASSIFIED,
    VOCABULARY,
    stop_word,
)
from takeup.judgement.evidence import mixed
from takeup.judgement.facts import SEEN
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
    yes,
)
from takeup.judgement.settings import JudgementSettings
from takeup.model import Fact, Job, Urgency

if TYPE_CHECKING:
    from numpy.typing import NDArray

SEVERITIES = (STOP, SOON, SHUTDOWN, NOTE)
#: subject of the order that asks for free words to be read
UNREAD = "inspection_findings/unread"
_SET_JOBS = (Job.REPLACE_SET, Job.ADJUST_TAKEUP, Job.SPROCKETS)


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:  # noqa: ARG001
    """One row for each subject and job with an open finding, else one for the subject."""
    seen = _seen(situation)
    is_open = seen["severity"].ne(NOTE) | seen["finding"].eq(UNCLASSIFIED)
    is_open &= seen["finding"].ne(NOTHING_FOUND) & ~seen["looked_since"] & ~seen["renewed"]
    is_open[is_open] = ~_closed_out(situation, seen[is_open])
    subjects = _subjects(situation, seen)
    due = _due(seen[is_open], subjects)
    quiet = subjects[~subjects.index.isin(pd.MultiIndex.from_frame(due[["subject_kind", "subject"]]))]
    noted = seen["severity"].eq(NOTE) & seen["finding"].ne(NOTHING_FOUND) & ~seen["renewed"]
    case = choose(
        (_any(quiet, seen[noted & ~seen["looked_since"]]), "noted"),
        (_any(quiet, seen[seen["finding"].ne(NOTHING_FOUND)]), "closed"),
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


def _seen(situation: Situation) -> pd.DataFrame:
    """The findings with their subject, effective severity, job, and what came after them."""
    strands, rows = situation.strands, situation.findings
    if not len(rows):
        names = ("row_id", "machine", "strand", "day", "pos", "finding", "severity", "place", "remark")
        more = ("raw_finding", "subject_kind", "subject", "job", "looked_since", "renewed", "at")
        return pd.DataFrame({name: pd.Series(dtype=object) for name in names + more}).astype(
            {"looked_since": bool, "renewed": bool, "at": np.int64, "row_id": np.int64}
        )
    seen = rows.reset_index(drop=True)
    strand, machine, word = words(seen, "strand"), words(seen, "machine"), words(seen, "finding")
    at = pd.Index(words(strands, "strand")).get_indexer(strand)
    usual = {name: each.severity for name, each in VOCABULARY.items()} | {UNCLASSIFIED: NOTE}
    rank = {severity: place for place, severity in enumerate(SEVERITIES)}
    stated = np.array([rank.get(name, rank[NOTE]) for name in words(seen, "severity")])
    worse = np.minimum(stated, [rank[usual.get(name, SOON)] for name in word])
    worse[yes(seen, "stop_class")] = rank[STOP]
    severity = np.array(SEVERITIES, dtype=object)[worse]
    pos = numbers(seen, "pos")
    fitted = numbers(strands, "fitted_day")
    renewed = (at >= 0) & (numbers(seen, "day") < np.where(at >= 0, fitted[at], -np.inf))
    return seen.assign(
        at=at,
        subject_kind=np.where(strand != "", "strand", "machine"),
        subject=np.where(strand != "", strand, machine),
        severity=severity,
        job=_jobs(seen, severity, np.where(at >= 0, words(strands, "lube_plan")[at], "")),
        looked_since=(_looked(seen, pos) > pos) & (severity != STOP),
        renewed=renewed & ((severity != STOP) | yes(seen, "first_load")),
    )


def _jobs(seen: pd.DataFrame, severity: NDArray[Any], lube_plan: NDArray[Any]) -> NDArray[Any]:
    """The work each finding asks for."""
    jobs: list[Job] = []
    columns = (words(seen, name) for name in ("finding", "remark"))
    for word, remark, how, plan in zip(*columns, severity, lube_plan, strict=True):
        known = VOCABULARY.get(word)
        if known is None:
            jobs.append(Job.INVESTIGATE_FRACTURE if how == STOP else Job.CORRECT_DATA)
        elif how == STOP and not known.stop_class and (word == SLACK or stop_word(remark)):
            # Slack after one event may be stretched links; a remark may tell more than its word.
            jobs.append(Job.INVESTIGATE_FRACTURE)
        else:
            # Lubrication is never asked for on a chain that is dry by decision.
            dry = plan == "none_by_decision"
            fit = [job for job in known.jobs if not (dry and job is Job.LUBRICATE)]
            jobs.append(fit[0] if fit else Job.INSPECT_ALIGNMENT)
    return np.array(jobs, dtype=object)


def _looked(seen: pd.DataFrame, pos: NDArray[np.float64]) -> NDArray[np.float64]:
    """Position of the newest look at each finding's strand, or whole machine, that found nothing."""
    nothing = words(seen, "finding") == NOTHING_FOUND
    strand, machine = words(seen, "strand"), words(seen, "machine")
    whole = nothing & (strand == "")
    by_machine = pd.Series(pos[whole]).groupby(machine[whole]).max()
    by_strand = pd.Series(pos[nothing & ~whole]).groupby(strand[nothing & ~whole]).max()
    return np.fmax(  # type: ignore[no-any-return] # the stubs do not know what two frames give
        by_machine.reindex(machine).to_numpy(dtype=np.float64),
        np.where(strand == "", np.nan, by_strand.reindex(strand).to_numpy(dtype=np.float64)),
    )


def _closed_out(situation: Situation, seen: pd.DataFrame) -> NDArray[np.bool_]:
    """Whether the order for each finding was closed out as done on its day or later."""
    sets = words(situation.strands, "set")
    history = situation.history
    done = []
    for job, machine, subject, at in zip(
        *(seen[name] for name in ("job", "machine", "subject", "at")), strict=True
    ):
        if job is Job.CORRECT_DATA:
            order = UNREAD
        elif job in _SET_JOBS:
            order = sets[at] if at >= 0 else subject
        else:
            order = machine
        done.append(history.get((job, order), -np.inf))
    return np.array(done, dtype=np.float64) >= seen["day"].to_numpy(dtype=np.float64)


def _subjects(situation: Situation, seen: pd.DataFrame) -> pd.DataFrame:
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


def _due(open_rows: pd.DataFrame, subjects: pd.DataFrame) -> pd.DataFrame:
    """One row for each subject and job, the most urgent first, told by its most urgent and newest finding."""
    if not len(open_rows):
        return pd.DataFrame({"subject_kind": [], "subject": []})
    order = {severity: place for place, severity in enumerate(SEVERITIES)}
    rows = open_rows.assign(
        rank=open_rows["severity"].map(order),
        unread=open_rows["finding"].eq(UNCLASSIFIED),
        newest=-open_rows["pos"].to_numpy(dtype=np.float64),
    )
    rows = rows.sort_values(["subject_kind", "subject", "rank", "unread", "newest", "row_id"], kind="stable")
    groups = rows.groupby(["subject_kind", "subject", "job"], sort=False)
    head = groups.head(1).reset_index(drop=True)
    key = (
        subjects["key"]
        .reindex(pd.MultiIndex.from_frame(head[["subject_kind", "subject"]]))
        .to_numpy(np.int64)
    )
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
        place=words(head, "place"),
        remark=words(head, "remark"),
        as_written=words(head, "raw_finding"),
        seen_day=numbers(head, "day"),
    )
    frame["subject_kind"] = head["subject_kind"]
    return frame


def _any(subjects: pd.DataFrame, rows: pd.DataFrame) -> NDArray[np.bool_]:
    return np.asarray(subjects.index.isin(pd.MultiIndex.from_frame(rows[["subject_kind", "subject"]])))


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:  # noqa: ARG001
    """The most urgent finding, and how many stand behind the verdict."""
    if row["case"] in ("noted", "closed", "none_open"):
        return ()
    return facts_of(
        {
            "finding": row["finding"],
            "findings": row["findings"],
            "as_written": row["as_written"],
            "remark": row["remark"],
            "place": row["place"],
            "severity": row["severity"],
            "seen_on": row["seen_day"],
            "rows": len(row["evidence_rows"]),
        },
        SEEN,
    )


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
)
