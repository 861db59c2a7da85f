"""The lives of the sets to be replaced, closed and running, as evidence for their next chain."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from takeup.derive.vocabulary import plain
from takeup.judgement import standing
from takeup.judgement.fleet import lives_frame
from takeup.judgement.limits import limits
from takeup.judgement.nextchain import Evidence, Lives
from takeup.judgement.options import BUILD, MECHANISM_OF, MECHANISMS, OPTIONS
from takeup.judgement.planning import stops_of
from takeup.judgement.rates import TWO_ENDS, history
from takeup.judgement.rule import Row, numbers, words
from takeup.judgement.takeup import takeup
from takeup.model import Answer, Job
from takeup.wear.lifecost import life_hours, mean_rate
from takeup.wear.record import known_rates

if TYPE_CHECKING:
    import pandas as pd

    from takeup.judgement.settings import JudgementSettings

#: how the place of a finding says that a joint was cut open
SECTIONED = "sectioned joint"
#: register column of what one chain uses up of its sprockets
_SHARE = "sprocket_share_cost"
#: rule → its cases that are an open fault of the system, or the jobs its findings ask for
_FAULT_CASES = {
    "lube_overdue": {"overdue", "starved", "calendar_overdue"},
    "grease_on_dry": {"greased"},
    "matching": {"difference_at_limit", "skew_at_limit"},
}
_FAULT_JOBS = {Job.INSPECT_ALIGNMENT.value, Job.INVESTIGATE_FRACTURE.value}


@dataclass(frozen=True)
class PastLives:
    """What is known of the lives on some strands, ready to be asked for one set after another."""

    by_strand: Mapping[str, list[Row]]
    findings: Mapping[str, list[tuple[str, bool]]]  # strand or machine → (finding, in a sectioned joint)
    faults: Mapping[str, tuple[str, ...]]  # machine → rules
    shutdowns: pd.DataFrame

    def evidence(self, strands: Sequence[Row]) -> Evidence:
        """What is known of one set when its next chain is to be chosen.

        Parameters
        ----------
        strands : sequence of mapping
            Rows of the prognosis, those of one set.
        """
        first = min(strands, key=lambda row: (math.isnan(row["day_early"]), row["day_early"], row["strand"]))
        machine, names = first["machine"], sorted(row["strand"] for row in strands)
        lives = [life for name in names for life in self.by_strand.get(name, ())]
        running = next((life for life in lives if life["life_id"] == first["life_id"]), first)
        seen = [each for place in (*names, machine) for each in self.findings.get(place, ())]
        rows, _ = stops_of(np.array([machine], dtype=object), self.shutdowns)
        stops = self.shutdowns.iloc[rows]
        sets = _whole_sets(lives, len(names))
        build = _build(running)
        trials: dict[str, list[list[Row]]] = {}
        for group in sets:
            for option in OPTIONS:
                if not option.has(running, running) and option.has(group[0], running):
                    differs = {name for name in BUILD if _build(group[0])[name] != build[name]}
                    if differs <= option.columns:
                        trials.setdefault(option.name, []).append(group)
        own = [int(row["rate_surveys"]) if row["own_rate"] else 0 for row in strands]
        same = [group for group in sets if _build(group[0]) == build]
        tried = [group for groups in trials.values() for group in groups]
        # Of lives with the sprockets and lives without, none could be held against another.
        counted = not math.isnan(
            _sum([*(life for group in (*same, *tried) for life in group), *strands], _SHARE)
        )
        return Evidence(
            governing=first["governing"],
            limit_unsure=bool(first["bend_is_default"] or first["not_judged"] or first["at_most"]),
            own_surveys=min(own),
            mechanisms=_mechanisms(word for word, _ in seen),
            sectioned=_mechanisms(word for word, cut in seen if cut),
            faults=self.faults.get(machine, ()),
            hot=first["hot"] == "yes",
            fitted=tuple(option.name for option in OPTIONS if option.has(running, running)),
            now=_lives(
                same, [life for life in lives if _build(life) == build], strands, first, stops, counted
            ),
            trials={
                name: _lives(
                    groups, [life for group in groups for life in group], strands, first, stops, counted
                )
                for name, groups in trials.items()
            },
            step_hours=_step_hours(stops, first),
            sprockets=counted,
        )


def past_lives(
    strands: Iterable[str],
    lives: pd.DataFrame,
    surveys: pd.DataFrame,
    machines: pd.DataFrame,
    findings: pd.DataFrame,
    verdicts: pd.DataFrame,
    shutdowns: pd.DataFrame,
    settings: JudgementSettings,
) -> PastLives:
    """The lives on these strands with their rates, in one vector pass.

    Parameters
    ----------
    strands : iterable of str
    lives : DataFrame
        As derived, closed lives too, with ``hours_used`` of closed ones.
    surveys, machines, findings, shutdowns : DataFrame
        As derived.
    verdicts : DataFrame
        Tonight's, see :class:`takeup.judgement.judging.Judged`.
    settings : JudgementSettings

    Returns
    -------
    PastLives
    """
    lives = lives[lives["strand"].isin(set(strands))].reset_index(drop=True)
    surveys = surveys[surveys["life_id"].isin(set(lives["life_id"]))].reset_index(drop=True)
    frame = _rated(lives_frame(lives, surveys, machines), surveys, settings)
    by_strand: dict[str, list[Row]] = {}
    records: list[dict[str, Any]] = frame.to_dict("records")  # type: ignore[assignment]
    for row in records:
        by_strand.setdefault(row["strand"], []).append(row)
    seen: dict[str, list[tuple[str, bool]]] = {}
    if len(findings):
        about = findings[findings["machine"].isin(set(lives["machine"]))]
        for strand, machine, word, place in zip(
            *(about[name] for name in ("strand", "machine", "finding", "place")), strict=True
        ):
            seen.setdefault(strand or machine, []).append((word, SECTIONED in plain(place)))
    return PastLives(by_strand, seen, _faults(verdicts), shutdowns)


def _rated(frame: pd.DataFrame, surveys: pd.DataFrame, settings: JudgementSettings) -> pd.DataFrame:
    """The lives with their level, and the rate each had at its last survey, before its case was through."""
    machines, names = words(frame, "machine"), words(frame, "strand")
    drawn = takeup(frame, surveys, settings)
    table = limits(frame, drawn, settings)
    told = standing.columns(frame, table, standing.standing(frame, table, drawn), settings)
    past = history(frame, surveys)
    factor = settings.forecast.column("past_case_factor", machines, names)
    u = TWO_ENDS * numbers(frame, "u_geo")
    some = np.diff(past.starts) > 0
    known = known_rates(
        past.hours,
        past.e,
        past.starts,
        np.where(np.isnan(u), np.inf, u),
        told["bend"],
        factor,
        after_hours=settings.forecast.column("run_in_hours", machines, names),
        phase_ratio=float(settings.forecast.value("phase_ratio")),
        at=past.starts[1:][some] - 1,
    )
    rate, u_rate = (np.full(len(frame), np.nan) for _ in range(2))
    with np.errstate(invalid="ignore", divide="ignore"):
        rate[some] = np.where(known.own, known.before, np.nan)
        u_rate[some] = np.where(known.own, known.u_rate * known.before / known.rate, np.nan)
    more = {
        "rate": rate,
        "u_rate": u_rate,
        "level": told["level"],
        "bend": told["bend"],
        "factor": factor,
        "run_in": settings.planning.column("run_in_percent", machines, names),
    }
    return frame.assign(**more)


def _whole_sets(lives: Sequence[Row], strands: int) -> list[list[Row]]:
    """The closed lives of whole sets: fitted on one day on every strand, of one build, oldest first."""
    groups: dict[int, list[Row]] = {}
    for life in lives:
        if not life["is_open"]:
            groups.setdefault(int(life["fitted_day"]), []).append(life)
    return [
        group
        for _, group in sorted(groups.items())
        if len({life["strand"] for life in group}) == strands
        and all(_build(life) == _build(group[0]) for life in group)
    ]


def _lives(
    sets: Sequence[Sequence[Row]],
    rated: Sequence[Row],
    strands: Sequence[Row],
    first: Row,
    stops: pd.DataFrame,
    sprockets: bool,
) -> Lives:
    """The lives of one build; price, labour and lead time of its newest register rows."""
    hours, costs = [], []
    for group in sets:
        used = min(float(life["hours_used"]) for life in group)
        if not used > 0:
            continue
        stop = 0.0
        if not _planned(stops, float(group[0]["removed_day"])):
            stop = float(first["job_hours"]) * float(first["stop_cost_per_hour"])
        hours.append(used)
        share = _sum(group, _SHARE) if sprockets else 0.0
        costs.append(_sum(group, "chain_price") + share + _most(group, "replacement_labour_cost") + stop)
    newest = list(sets[-1]) if sets else []
    if any(life["is_open"] for life in rated):
        newest = list(strands)
    rate, u_rate = mean_rate([life["rate"] for life in rated], [life["u_rate"] for life in rated])
    level = [life["level"] for life in rated if not math.isnan(life["level"])]
    by_rate = math.nan
    if level and rate > 0:
        one = rated[0]
        by_rate = float(life_hours(np.mean(level), one["run_in"], rate, one["bend"], one["factor"]))
    return Lives(
        hours=tuple(hours),
        costs=tuple(costs),
        rate=rate,
        u_rate=u_rate,
        wear_hours=by_rate,
        chains_cost=_sum(newest, "chain_price") if newest else math.nan,
        sprockets_cost=_sum(newest, _SHARE) if sprockets else 0.0,
        labour_cost=_most(newest, "replacement_labour_cost"),
        lead_days=_most(newest, "lead_time_days"),
    )


def _build(life: Row) -> dict[str, Any]:
    """What makes two chains of one build; a value not known is like another not known."""
    return {
        name: None if isinstance(value := life[name], float) and math.isnan(value) else value
        for name in BUILD
    }


def _mechanisms(findings: Iterable[str]) -> tuple[str, ...]:
    found = {MECHANISM_OF[word] for word in findings if word in MECHANISM_OF}
    return tuple(name for name in MECHANISMS if name in found)


def _faults(verdicts: pd.DataFrame) -> dict[str, tuple[str, ...]]:
    """The rules with an open fault, by machine."""
    due = verdicts[verdicts["answer"] == Answer.DUE.value]
    found: dict[str, dict[str, None]] = {}
    for rule, case, job, machine in zip(
        *(due[name] for name in ("rule", "reason", "job", "machine")), strict=True
    ):
        if case in _FAULT_CASES.get(rule, ()) or (rule == "abnormal_finding" and job in _FAULT_JOBS):
            found.setdefault(machine, {})[rule] = None
    return {machine: tuple(rules) for machine, rules in found.items()}


def _step_hours(stops: pd.DataFrame, first: Row) -> float:
    """Run hours from one planned stop that takes the job to the next: the middle of the gaps, at the mean."""
    begin, end = (stops[name].to_numpy(dtype=np.float64) for name in ("starts_at_pos", "ends_at_pos"))
    begin = np.sort(begin[24 * (end - begin) >= first["job_hours"] - 1e-6])
    if begin.size < 2:
        return math.nan
    return float(np.median(np.diff(begin)) * first["h_middle"])


def _planned(stops: pd.DataFrame, day: float) -> bool:
    begin, end = (np.floor(stops[name].to_numpy(np.float64)) for name in ("starts_at_pos", "ends_at_pos"))
    return bool(((begin <= day) & (day <= end)).any())


def _sum(lives: Sequence[Row], name: str) -> float:
    return float(sum(float(life[name]) for life in lives))


def _most(lives: Sequence[Row], name: str) -> float:
    known = [float(life[name]) for life in lives if not math.isnan(life[name])]
    return max(known, default=math.nan)
