"""Rows that are kept out and values that are missing are put right by people: one question a feed and reason.

Never guessed, never dropped. This week where they may hide a strand that is past its plan line or cannot be
judged at all, else planned. Rows dated later than the day told are no mistake and ask for nothing. Source:
common practice, no source.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from takeup.derive.reasons import Reason
from takeup.judgement.facts import CLOSED, KEPT_OUT, REGISTER, setting_fact
from takeup.judgement.facts import facts as facts_of
from takeup.judgement.rule import (
    CLEAR,
    PLAN,
    THIS_WEEK,
    Row,
    Rule,
    Situation,
    answers,
    numbers,
    words,
    yes,
)
from takeup.judgement.settings import JudgementSettings
from takeup.judgement.told import unsure
from takeup.model import Fact, Feed, Job, KeptOut, Urgency
from takeup.store.reasons import FileRefusal, Refusal, Waiting

if TYPE_CHECKING:
    from numpy.typing import NDArray

_CASES = {"refused": "rows_refused", "waiting": "rows_waiting", "set aside": "rows_set_aside"}
_NO_MISTAKE = Waiting.DATED_LATER.value
#: lines named in the facts
_FIRST = 5
#: days a new life may take to reach the register after its set was closed out as replaced
_REGISTER_DAYS = 7
#: register values whose want leaves a strand unjudged
_VALUES = (
    "pitch_mm",
    "pitches",
    "teeth_drive",
    "teeth_tail",
    "takeup_travel_mm",
    "lube_plan",
    "pin_diameter_mm",
    "bushing_bore_mm",
    "bushing_outside_mm",
    "sidebar_height_mm",
    "sidebar_hole_mm",
)
_CASED = ("pin", "bushing")
#: feeds whose rows are about a machine
_OF_MACHINE = (Feed.RUN_HOURS, Feed.SPROCKET_CHECKS, Feed.MACHINES, Feed.ENERGY_SOURCES)


@dataclass
class _Subject:
    """What is said about one feed and reason."""

    feed: str
    reason: str
    case: str = "nothing_open"
    strands: set[str] = field(default_factory=set)
    rows: list[KeptOut] = field(default_factory=list)
    urgent: bool = False
    replaced_day: float = np.nan


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:  # noqa: ARG001
    """One row for each feed and reason; clear where nothing of the kind is open."""
    found = {f"{feed}/{reason}": _Subject(feed, reason) for feed, reason in _all_subjects()}
    hides = _hides_alert(situation)
    strands_on: defaultdict[str, set[str]] = defaultdict(set)
    for strand, machine in zip(situation.strands["strand"], situation.strands["machine"], strict=True):
        strands_on[machine].add(strand)
    for each in situation.kept_out:
        if each.reason != _NO_MISTAKE:
            one = found.setdefault(f"{each.feed}/{each.reason}", _Subject(each.feed, each.reason))
            one.case = _CASES[each.state] if each.line else "file_refused"
            one.rows.append(each)
            if each.feed in _OF_MACHINE:
                one.strands |= strands_on.get(each.subject, set())
            elif each.subject:
                one.strands.add(each.subject)
    for reason, case, strands, feed in _wanting(situation):
        one = found.setdefault(f"{feed}/{reason}", _Subject(feed, reason))
        one.case, one.strands = case, strands
    _renewals(situation, found)
    for one in found.values():
        one.urgent = bool(one.strands & hides) and one.case not in ("case_depth_missing", "not_registered")
    return _answers(found)


def _all_subjects() -> Iterator[tuple[str, str]]:
    """Every subject that may come up, so that one put right is told clear."""
    for feed in Feed:
        for reason in (*FileRefusal, *Refusal, *Waiting):
            if reason.value != _NO_MISTAKE:
                yield feed.value, reason.value
    for reason in Reason:
        for feed in (Feed.ELONGATION_READINGS, Feed.TAKEUP_READINGS, Feed.LUBE_RECORDS, Feed.RUN_HOURS):
            yield feed.value, reason.value
    for value in (
        *_VALUES,
        *(f"{part}_case_mm" for part in _CASED),
        "not_registered",
        "renewal_not_recorded",
    ):
        yield Feed.STRANDS.value, value
    yield Feed.RUN_HOURS.value, "hours_missing"


def _hides_alert(situation: Situation) -> set[str]:
    """Strands past their plan line, or that cannot be judged."""
    strands = situation.strands
    bad = yes(strands, "over_plan_line") | (numbers(strands, "stands") < 0) | unsure(strands)
    return set(words(strands, "strand")[bad])


def _wanting(situation: Situation) -> Iterator[tuple[str, str, set[str], str]]:
    """Values and readings missing where a verdict wants them: (reason, case, strands, feed)."""
    strands = situation.strands
    names, registered = words(strands, "strand"), yes(strands, "registered")
    measured = ~np.isnan(numbers(strands, "last_any_day"))
    unjudged = measured & (numbers(strands, "stands") < 0)
    missing = words(strands, "missing")
    kinds = set(missing)
    not_sure = measured & unsure(strands)
    gauged = ~np.isnan(numbers(strands, "sidebar_now_mm"))
    blank: dict[str, NDArray[np.bool_]] = {
        "pitch_mm": unjudged & np.isnan(numbers(strands, "pitch_mm")),
        "takeup_travel_mm": np.isnan(numbers(strands, "takeup_travel_mm")) & ~yes(strands, "takeup_none"),
        "pitches": np.isnan(numbers(strands, "pitches")) & ~yes(strands, "takeup_none"),
        "lube_plan": words(strands, "lube_plan") == "",
        "sidebar_height_mm": gauged & np.isnan(numbers(strands, "sidebar_height_mm")),
        "sidebar_hole_mm": gauged & np.isnan(numbers(strands, "sidebar_hole_mm")),
    }
    for value in _VALUES:
        wanted = np.isin(missing, [kind for kind in kinds if value in kind.split()])
        here = registered & (blank.get(value, False) | (not_sure & wanted))
        if here.any():
            yield value, "value_missing", set(names[here]), Feed.STRANDS.value
    # Where no register says which machine a strand runs on, the register is what is missing, not the meter.
    no_meter = np.isnan(numbers(strands, "hours_now")) & (words(strands, "machine") != "")
    if no_meter.any():
        yield "hours_missing", "hours_missing", set(names[no_meter]), Feed.RUN_HOURS.value
    bends = yes(strands, "bend_is_default") & (numbers(strands, "bend") < numbers(strands, "level"))
    for part in _CASED:
        here = bends & (words(strands, "bend_part") == part)
        if here.any():
            yield f"{part}_case_mm", "case_depth_missing", set(names[here]), Feed.STRANDS.value
    if (~registered).any():
        yield "not_registered", "not_registered", set(names[~registered]), Feed.STRANDS.value


def _renewals(situation: Situation, found: dict[str, _Subject]) -> None:
    """Sets closed out as replaced of which the register still shows the old life."""
    strands = situation.strands
    done = situation.done_on(Job.REPLACE_SET, words(strands, "set"))
    late = (situation.as_of >= done + _REGISTER_DAYS) & (
        numbers(strands, "fitted_day") < done - _REGISTER_DAYS
    )
    if late.any():
        one = found[f"{Feed.STRANDS.value}/renewal_not_recorded"]
        one.case, one.strands = "renewal_not_recorded", set(words(strands, "strand")[late])
        one.replaced_day = float(done[late].max())


def _answers(found: dict[str, _Subject]) -> pd.DataFrame:
    subjects = sorted(found)
    told = [found[subject] for subject in subjects]
    return answers(
        pd.DataFrame({"machine": [""] * len(told)}),
        np.array([one.case for one in told], dtype=object),
        subject_kind="source",
        subject=subjects,
        value=[float(max(len(one.rows), len(one.strands))) for one in told],
        threshold=0.0,
        unit="rows",
        urgency=np.array([Urgency.THIS_WEEK.value if one.urgent else "" for one in told], dtype=object),
        evidence_rows=[_row_ids(one) for one in told],
        about=told,
    )


def _row_ids(one: _Subject) -> list[int]:
    """Row ids, or places in files where rows never got one; strands by name where no row is at fault."""
    ids = [_place(each) for each in one.rows]
    return sorted(ids) or [_number(strand) for strand in sorted(one.strands)]


def _place(each: KeptOut) -> int:
    return each.row_id if each.row_id is not None else _number(f"{each.sha256}:{each.line}")


def _number(text: str) -> int:
    """A whole number below nought for a text, the same everywhere; row ids are above it.

    By a digest of the whole text, since places in one file begin alike.
    """
    return -1 - int.from_bytes(hashlib.sha256(text.encode("utf-8")).digest()[:8], "big") % (1 << 62)


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """The feed, the reason, the strands and the first lines."""
    one: _Subject = row["about"]
    told: dict[str, Any] = {
        "feed": one.feed,
        "strands": tuple(sorted(one.strands)),
        "hides_alert": one.urgent,
    }
    if one.rows:
        places = sorted({(each.file, each.line) for each in one.rows})[:_FIRST]
        # A file refused as a whole has no line.
        named = tuple(f"{file} line {line}" if line else file for file, line in places)
        told |= {"reason": one.reason, "rows": len(one.rows), "lines": named}
    if one.case in ("value_missing", "case_depth_missing"):
        told |= {"value": one.reason}
    found = facts_of(told, KEPT_OUT if one.rows else REGISTER)
    if one.case == "renewal_not_recorded":
        found += facts_of({"replaced_on": one.replaced_day}, CLOSED)
    if one.case == "case_depth_missing":
        found += (setting_fact("default_mm", settings.limits, one.reason, row),)
    return found


def stands_in(row: Row) -> Iterator[tuple[str, str]]:
    """The default depth that stands in for one that nobody states."""
    if row["case"] == "case_depth_missing":
        yield "limits", row["about"].reason


RULE = Rule(
    name="data_unjudged",
    job=Job.CORRECT_DATA,
    outcomes={
        "file_refused": PLAN,
        "rows_refused": PLAN,
        "rows_waiting": PLAN,
        "rows_set_aside": PLAN,
        "value_missing": PLAN,
        "hours_missing": PLAN,
        "case_depth_missing": PLAN,
        "not_registered": PLAN,
        "renewal_not_recorded": THIS_WEEK,
        "nothing_open": CLEAR,
    },
    judge=judge,
    facts=facts,
    evidence=("evidence_rows",),
    reads=(stands_in,),
)
