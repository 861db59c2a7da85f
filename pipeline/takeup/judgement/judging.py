"""All rules answer for all subjects: what is due with its facts, the rest as a frame."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import pandas as pd

from takeup.judgement.answered import COLUMNS, Answered, answered
from takeup.judgement.explaining import explain, verdicts
from takeup.judgement.prognosis import prognosis
from takeup.judgement.rule import ClosedRows, History, Rule, Situation
from takeup.judgement.rules import registered
from takeup.judgement.settings import JudgementSettings
from takeup.model import Job, KeptOut, Urgency, Verdict
from takeup.wear.calibration import FleetTable

__all__ = ["Judged", "explain", "judge"]


@dataclass(frozen=True)
class Judged:
    """What a night's judging gives.

    Attributes
    ----------
    verdicts : DataFrame
        One row a rule and subject: :data:`.answered.COLUMNS`; texts blank, numbers NaN where not applicable;
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


def judge(
    state: pd.DataFrame,
    derived: Any,
    fleet: FleetTable,
    settings: JudgementSettings,
    as_of: date,
    history: History,
    *,
    closed: ClosedRows | None = None,
    kept_out: Iterable[KeptOut] = (),
    at_work: Mapping[str, Urgency] | None = None,
    rules: Sequence[Rule] | None = None,
) -> Judged:
    """Every rule's answer for every subject, in one vector pass a rule.

    Parameters
    ----------
    state : DataFrame
        One row an open life, see ``takeup.derive.state``.
    derived : Derived
        Its frames ``surveys``, ``findings``, ``lube``, ``takeup``, ``sprockets``, ``shutdowns``, ``sources``,
        its ``meters`` and its rows ``set_aside``.
    fleet : FleetTable
        The record of past forecasts in force.
    settings : JudgementSettings
    as_of : date
    history : mapping
        (job, subject of the order) to the day number of its last close-out as done.
    closed : mapping, optional
        (job, row id) to the day number of the last close-out as done of an order that named the row.
    kept_out : iterable of KeptOut
        Rows refused or waiting.
    at_work : mapping, optional
        Machine to the most urgent job of its open orders that need lockout.
    rules : sequence of Rule, optional
        Instead of :func:`takeup.judgement.rules.registered`.

    Returns
    -------
    Judged
    """
    number = (as_of - date(1970, 1, 1)).days
    strands = prognosis(
        state, derived.surveys, derived.shutdowns, derived.findings, closed or {}, fleet, settings, number
    )
    situation = Situation(
        strands=strands,
        as_of=number,
        history=history,
        closed=closed or {},
        surveys=derived.surveys,
        findings=derived.findings,
        lube=derived.lube,
        takeup=derived.takeup,
        sprockets=derived.sprockets,
        meters=derived.meters,
        sources=derived.sources,
        at_work=at_work or {},
        kept_out=(*kept_out, *derived.set_aside),
    )
    chosen = registered() if rules is None else rules
    told = answered(situation, settings, [rule for rule in chosen if not rule.after_work])
    situation = replace(situation, at_work=_at_work(told, situation.at_work))
    told += answered(situation, settings, [rule for rule in chosen if rule.after_work])
    frame = pd.concat([each.answers[list(COLUMNS)] for each in told], ignore_index=True)
    # A subject whose findings ask for several jobs has a row for each; the first is the most urgent.
    frame = frame.drop_duplicates(["rule", "subject_kind", "subject"], ignore_index=True)
    due = tuple(
        verdict for each in told for verdict in verdicts(each, each.due.tolist(), situation, settings)
    )
    return Judged(frame, due, strands, situation)


def _at_work(told: Iterable[Answered], open_orders: Mapping[str, Urgency]) -> dict[str, Urgency]:
    """The machines that open orders and tonight's answers want locked out, each with its most urgent job."""
    found = dict(open_orders)
    for each in told:
        due = each.answers.iloc[each.due]
        for machine, job, word in zip(due["machine"], due["job"], due["urgency"], strict=True):
            urgency = Urgency(word)
            if machine and job != Job.CORRECT_DATA.value:
                found[machine] = min(found.get(machine, urgency), urgency, key=lambda one: one.rank)
    return found
