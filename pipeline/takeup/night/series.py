"""A strand's surveys, limits and forecast, as the pages draw and list them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from takeup.derive.derivation import Derived
from takeup.documents.sheets import Forecast, GaugedLimit, LimitLine, StrandSeries, SurveyPoint, known
from takeup.judgement.edges import EDGES
from takeup.judgement.judging import Judged
from takeup.judgement.limits import LIMITS
from takeup.judgement.rates import in_rate
from takeup.judgement.reads import SERIES, settings_read
from takeup.judgement.rules.survey_overdue import RULE as SURVEY_OVERDUE
from takeup.judgement.settings import JudgementSettings
from takeup.model import Answer

EPOCH = date(1970, 1, 1)

#: the columns of a survey that a point of the chart is made of, in the order of its fields
_POINT = (
    "day", "hours", "e_wear_mean", "u_wear", "e_wear_max", "n_marks", "baseline", "note", "usable_for_rate",
)  # fmt: skip


@dataclass(frozen=True)
class Strands:
    """What was found out about every open strand, ready to be looked up by name."""

    rows: Mapping[str, dict[str, Any]]
    surveys: Mapping[str, tuple[SurveyPoint, ...]]
    settings: JudgementSettings
    unmeasured: Mapping[str, str]

    @classmethod
    def of(cls, derived: Derived, judged: Judged, wanted: set[str], settings: JudgementSettings) -> Strands:
        """The strands named in the orders of a night.

        Parameters
        ----------
        derived : Derived
        judged : Judged
        wanted : set of str
            Names of strands.
        settings : JudgementSettings
        """
        prognosis = judged.prognosis
        rows: list[dict[str, Any]] = prognosis.loc[prognosis["strand"].isin(wanted)].to_dict("records")  # type: ignore[assignment]
        return cls(
            {row["strand"]: row for row in rows},
            _points(derived, {row["life_id"] for row in rows}),
            settings,
            _unmeasured(judged),
        )

    def series(self, strand: str) -> StrandSeries | None:
        """One strand's series; None for a strand without an open life."""
        row = self.rows.get(strand)
        if row is None:
            return None
        limits = _limits(row)
        return StrandSeries(
            strand=strand,
            set=row["set"] if row["set"] != strand else "",
            side=row["side"],
            registered=bool(row["registered"]),
            pitch_mm=known(row["pitch_mm"]),
            pitches=known(row["pitches_now"]),
            fitted_on=day(row["fitted_day"]),
            hours_now=known(row["hours_reckoned"]),
            hours_as_of=day(row["reckon_day"]),
            plan_percent=_plan(row),
            surveys=told_in_rate(row, self.surveys.get(row["life_id"], ())),
            limits=limits,
            gauged=_gauged(row),
            forecast=_forecast(row),
            next_survey_on=day(row["next_survey_day"]),
            settings=settings_read(SERIES, row, self.settings),
            next_survey_hours=known(row["next_survey_hours"]),
            interval_hours=known(row["survey_interval_hours"]),
            unmeasured=self.unmeasured.get(strand, ""),
        )


def told_in_rate(row: Mapping[str, Any], points: tuple[SurveyPoint, ...]) -> tuple[SurveyPoint, ...]:
    """The surveys of a strand with whether its rate took them."""
    codes = [in_rate(row, point.hours, point.wear_percent, fit=point.counted) for point in points]
    return tuple(
        point if code == point.in_rate else replace(point, in_rate=code)
        for point, code in zip(points, codes, strict=True)
    )


def _unmeasured(judged: Judged) -> dict[str, str]:
    """The strands whose latest survey tonight's rule calls too old, or not fit to build on, and why."""
    verdicts = judged.verdicts
    due = verdicts[(verdicts["rule"] == SURVEY_OVERDUE.name) & (verdicts["answer"] == Answer.DUE.value)]
    return dict(zip(due["subject"].tolist(), due["reason"].tolist(), strict=True))


def _points(derived: Derived, lives: set[str]) -> dict[str, tuple[SurveyPoint, ...]]:
    """The surveys with hours and wear of some lives, by life and in their order."""
    surveys = derived.surveys
    shown = (
        surveys["life_id"].isin(lives)
        & np.isfinite(surveys["hours"].to_numpy(np.float64))
        & np.isfinite(surveys["e_wear_mean"].to_numpy(np.float64))
    )
    its = surveys.loc[shown, ["life_id", *_POINT]]
    found: dict[str, list[SurveyPoint]] = defaultdict(list)
    for life, on, hours, wear, u, most, marks, baseline, note, counted in zip(
        *(its[name].tolist() for name in its.columns), strict=True
    ):
        found[life].append(
            SurveyPoint(_day(on), hours, wear, 2 * u, known(most), marks, baseline, note, counted)
        )
    return {life: tuple(points) for life, points in found.items()}


def day(number: float | None) -> date | None:
    """The civil day of a day number, None where it is not known."""
    value = known(number)
    return None if value is None else _day(value)


def _day(number: float) -> date:
    return EPOCH + timedelta(days=int(number))


def _plan(row: Mapping[str, Any]) -> float | None:
    """The plan line on the wear zero."""
    percent = known(row["plan_percent"])
    if percent is None or row["plan_zero"] != "nominal":
        return percent
    return percent - (known(row["zero_shift"]) or 0.0)


def _limits(row: Mapping[str, Any]) -> tuple[LimitLine, ...]:
    """Every limit that the strand has; one that could not be worked out says what it wants."""
    not_judged, at_most, missing = (str(row[name]).split() for name in ("not_judged", "at_most", "missing"))
    lines = []
    for name, (_, wants) in LIMITS.items():
        percent = row[f"limit_{name}"]
        wanting = tuple(sorted({*missing} & {*wants, "pitch_mm"}))
        if name in not_judged:
            lines.append(LimitLine(name, None, missing=wanting))
        elif np.isfinite(percent):
            lines.append(
                LimitLine(
                    name,
                    float(percent),
                    governing=name == row["governing"],
                    missing=wanting if name in at_most else (),
                    is_default=name == "case" and bool(row["case_is_default"]),
                    origin="default case depth" if name == "case" and row["case_is_default"] else "",
                )
            )
    return tuple(lines)


def _gauged(row: Mapping[str, Any]) -> tuple[GaugedLimit, ...]:
    """The limits beside elongation: sidebars gauged or worn by the machine, clearance where one is stated."""
    lines = []
    missing = {
        name: tuple(one for one in wants if known(row[one]) is None) for name, (_, wants) in EDGES.items()
    }
    edge_on, clearance_on = day(row["sidebar_day"]), day(row["clearance_day"])
    if edge_on is not None or row["kind"] == "drag_conveyor":
        loss, limit, plan = (known(row[f"sidebar_{name}"]) for name in ("loss", "limit", "plan"))
        lines.append(GaugedLimit("sidebar", "%", loss, limit, plan, edge_on, missing["sidebar"]))
    if not missing["clearance"]:
        now, least = known(row["clearance_now_mm"]), known(row["clearance_min_mm"])
        lines.append(GaugedLimit("clearance", "mm", now, least, gauged_on=clearance_on))
    return tuple(lines)


def _forecast(row: Mapping[str, Any]) -> Forecast | None:
    """The way to the limit ahead; None where there is no rate or no limit."""
    middle, early, level = (known(row[name]) for name in ("hours_middle", "hours_early", "ahead_level"))
    e, rate, start = known(row["ahead_distance"]), known(row["rate"]), known(row["survey_hours"])
    if middle is None or early is None or level is None or e is None or rate is None or start is None:
        return None
    late = known(row["hours_late"])
    from_percent = level - e
    return Forecast(
        limit=row["ahead_limit"],
        level_percent=level,
        rate_percent_per_1000h=rate,
        rate_source=row["rate_source"],
        from_hours=start,
        from_percent=from_percent,
        hours_early=early,
        hours_middle=middle,
        hours_late=late if late is not None and np.isfinite(late) else None,
        on_early=day(row["day_early"]),
        on_middle=day(row["day_middle"]),
        on_late=day(row["day_late"]) if late is not None and np.isfinite(late) else None,
        bend=_bend(row, from_percent, level, start, middle),
        basis=row["bounds_basis"],
        fleet_number=_whole(row["fleet_number"]),
        fleet_forecasts=_whole(row["fleet_forecasts"]),
        fleet_lent=_whole(row["fleet_lent"]),
        fleet_lives=_whole(row["fleet_lives"]),
        factor_low=known(row["factor_low"]),
        factor_high=known(row["factor_high"]),
    )


def _bend(
    row: Mapping[str, Any], e: float, level: float, start: float, middle: float
) -> tuple[float, float] | None:
    """Where on the middle path the hardened case is through; None where the path has no bend."""
    bend, before = known(row["bend"]), known(row.get("rate_to_bend", row["rate"]))
    if bend is None or before is None or before <= 0 or not e < bend < level:
        return None
    hours = 1000 * (bend - e) / before
    return (start + hours, bend) if hours < middle else None


def _whole(value: float | None) -> int | None:
    number = known(value)
    return None if number is None else int(number)
