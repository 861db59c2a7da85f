"""What the rules count by: every default of the trade with its unit, its source and its sensible range.

The site's or the chain maker's own value goes before a default; a default used is shown as a default.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from takeup.derive.lubesettings import Lubrication
from takeup.derive.settings import MeasuringSettings
from takeup.layered import Layered, Override, setting, told_of
from takeup.model import Fact, Source

_GOST = "GOST 21834-87, 2.2.11 (3 % as limit state of a drilling drive chain)"
_ENCYCLOPAEDIA = "encyclopaedia article 'Roller chain', section Wear"
_GOST_LIFE = "life and path given by GOST 12996-90, 2.9; rate if write-off is at 2 to 3 %, derived"


@dataclass(frozen=True)
class Limits:
    """How far a chain may wear."""

    drive_percent: float = setting(
        3.0,
        "%",
        Source.VERIFIED,
        "Longest a drive chain may be over nominal; 200/teeth of the largest sprocket if less.",
        low=0.5,
        high=6.0,
        citation=_GOST,
    )
    ride_percent: float = setting(
        200.0,
        "% x teeth",
        Source.MEMORY,
        "Elongation times teeth of the largest sprocket at which a chain rides too far out.",
        low=50.0,
        high=400.0,
        citation="American Chain Association, Standard Handbook of Chains, 2nd ed., 2006",
    )
    fixed_percent: float = setting(
        1.5,
        "%",
        Source.VERIFIED,
        "Longest a chain on fixed centres may be over nominal.",
        low=0.5,
        high=3.0,
        citation=_ENCYCLOPAEDIA,
    )
    conveyor_percent: float = setting(
        3.0,
        "%",
        Source.PRACTICE,
        "Longest a conveyor or elevator chain may be over nominal; 2 for tight casings or paired strands.",
        low=0.5,
        high=8.0,
    )
    plan_part: float = setting(
        0.75, "1", Source.PROPOSED, "The plan line as a part of the wear limit.", low=0.4, high=0.95
    )
    pin_case_mm: float = setting(
        3.2,
        "mm",
        Source.PRACTICE,
        "Case depth of an induction-hardened pin where nobody states it.",
        low=0.5,
        high=8.0,
    )
    bushing_case_mm: float = setting(
        1.5,
        "mm",
        Source.PRACTICE,
        "Case depth of a carburised bushing where nobody states it.",
        low=0.2,
        high=5.0,
    )
    pin_share: float = setting(
        0.5,
        "1",
        Source.PROPOSED,
        "The pin's share of the joint's wear until a joint has been sectioned.",
        low=0.1,
        high=0.9,
    )
    usable_case_part: float = setting(
        0.8,
        "1",
        Source.PROPOSED,
        "Part of a case depth that counts when the effective depth is not certified.",
        low=0.3,
        high=1.0,
    )
    pin_strength_kept: float = setting(
        0.75,
        "1",
        Source.PRACTICE,
        "Part of its new bending strength a worn pin must keep.",
        low=0.5,
        high=0.95,
    )
    bushing_wall_part: float = setting(
        1 / 3, "1", Source.PRACTICE, "Part of the bushing wall that may wear away.", low=0.1, high=0.6
    )
    sidebar_limit_part: float = setting(
        0.25,
        "1",
        Source.PRACTICE,
        "Part of a sidebar's net section, between edge and hole, whose wear ends the chain.",
        low=0.05,
        high=0.5,
    )
    sidebar_plan_part: float = setting(
        0.15,
        "1",
        Source.PRACTICE,
        "Part of that section at which to turn the chain over, or to plan its replacement.",
        low=0.02,
        high=0.5,
    )
    gauge_u_mm: float = setting(
        1.0,
        "mm",
        Source.PROPOSED,
        "Expanded uncertainty of a sidebar height or a clearance as gauged.",
        low=0.0,
        high=10.0,
    )
    takeup_left_part: float = setting(
        0.15,
        "1",
        Source.PROPOSED,
        "Part of the take-up's travel at which to shorten or adjust.",
        low=0.02,
        high=0.5,
    )
    takeup_u_mm: float = setting(
        2.0, "mm", Source.PROPOSED, "Expanded uncertainty of a take-up reading.", low=0.0, high=20.0
    )
    joining_slack_mm: float = setting(
        15.0,
        "mm",
        Source.PRACTICE,
        "Slack needed to join the chain after pitches are removed.",
        low=0.0,
        high=200.0,
    )
    match_plan_points: float = setting(
        0.15,
        "points",
        Source.PROPOSED,
        "Difference between strands of a set at which to look.",
        low=0.01,
        high=2.0,
    )
    match_limit_points: float = setting(
        0.30,
        "points",
        Source.PROPOSED,
        "Difference between strands of a set at which to renew it.",
        low=0.02,
        high=3.0,
    )
    skew_plan_degrees: float = setting(
        1.5, "degree", Source.PROPOSED, "Skew of a flight or bucket at which to look.", low=0.1, high=20.0
    )
    skew_limit_degrees: float = setting(
        3.0,
        "degree",
        Source.PROPOSED,
        "Skew of a flight or bucket at which to renew the set.",
        low=0.2,
        high=30.0,
    )


@dataclass(frozen=True)
class Forecast:
    """How the wear rate is found and carried forward."""

    run_in_hours: float = setting(
        100.0, "h", Source.PRACTICE, "Bedding of a new chain; its growth is not a rate.", low=0.0, high=1000.0
    )
    phase_ratio: float = setting(
        1.5,
        "1",
        Source.PROPOSED,
        "A last rate above this many times the earlier one may be a new phase; for the whole site.",
        low=1.05,
        high=5.0,
        finest="site",
    )
    slope_surveys: int = setting(
        8,
        "surveys",
        Source.PROPOSED,
        "Surveys a wear rate takes, the newest, and more if these grew too little; for the whole site.",
        low=3,
        high=30,
        finest="site",
    )
    past_case_factor: float = setting(
        3.0, "1", Source.PRACTICE, "Rate past the hardened case over the rate before it.", low=1.0, high=20.0
    )
    near_case_part: float = setting(
        0.7,
        "1",
        Source.PROPOSED,
        "A rate that rises past this part of the case limit is put down to the case.",
        low=0.3,
        high=1.0,
    )
    rate_enclosed_clean: float = setting(
        0.125,
        "%/1000 h",
        Source.PRACTICE,
        "Start rate of an enclosed, clean, oil-fed drive.",
        low=0.001,
        high=20.0,
    )
    rate_enclosed_clean_upper: float = setting(
        0.2,
        "%/1000 h",
        Source.DERIVED,
        "Its upper end, for the early bound.",
        low=0.001,
        high=20.0,
        citation="ISO 10823 scope (15 000 h design life); 3 % end point from memory, unverified",
    )
    rate_clean: float = setting(
        0.2, "%/1000 h", Source.PRACTICE, "Start rate of a clean conveyor.", low=0.001, high=20.0
    )
    rate_clean_upper: float = setting(
        0.3, "%/1000 h", Source.PRACTICE, "Its upper end, for the early bound.", low=0.001, high=20.0
    )
    rate_light_bulk: float = setting(
        0.175,
        "%/1000 h",
        Source.DERIVED,
        "Start rate in non-abrasive bulk.",
        low=0.001,
        high=20.0,
        citation=_GOST_LIFE,
    )
    rate_light_bulk_upper: float = setting(
        0.21,
        "%/1000 h",
        Source.DERIVED,
        "Its upper end, for the early bound.",
        low=0.001,
        high=20.0,
        citation=_GOST_LIFE,
    )
    rate_abrasive_bulk: float = setting(
        0.375,
        "%/1000 h",
        Source.DERIVED,
        "Start rate in meal, coal, limestone.",
        low=0.001,
        high=20.0,
        citation=_GOST_LIFE,
    )
    rate_abrasive_bulk_upper: float = setting(
        1.2, "%/1000 h", Source.PRACTICE, "Its upper end, for the early bound.", low=0.001, high=20.0
    )
    rate_highly_abrasive: float = setting(
        0.5,
        "%/1000 h",
        Source.DERIVED,
        "Start rate in rock, sand, sinter, slow and dry.",
        low=0.001,
        high=20.0,
        citation=_GOST_LIFE,
    )
    rate_highly_abrasive_upper: float = setting(
        0.6,
        "%/1000 h",
        Source.DERIVED,
        "Its upper end, for the early bound.",
        low=0.001,
        high=20.0,
        citation=_GOST_LIFE,
    )
    rate_severe: float = setting(
        2.5,
        "%/1000 h",
        Source.PRACTICE,
        "Start rate in rock, sand, sinter when fast, wet or corrosive.",
        low=0.001,
        high=20.0,
    )
    rate_severe_upper: float = setting(
        4.0, "%/1000 h", Source.PRACTICE, "Its upper end, for the early bound.", low=0.001, high=20.0
    )
    slow_m_per_s: float = setting(
        0.16,
        "m/s",
        Source.VERIFIED,
        "Up to here a chain in highly abrasive bulk counts as slow.",
        low=0.01,
        high=2.0,
        citation="GOST 12996-90, 2.9",
    )


@dataclass(frozen=True)
class Surveying:
    """When and how to measure again."""

    longest_hours: float = setting(
        1500.0, "h", Source.PRACTICE, "Longest survey interval.", low=50.0, high=20000.0
    )
    shortest_hours: float = setting(
        100.0, "h", Source.PROPOSED, "Shortest survey interval.", low=1.0, high=2000.0
    )
    hastened_part: float = setting(
        0.5,
        "1",
        Source.PROPOSED,
        "Part of the interval after which to measure while joints are starved or seals are lost.",
        low=0.1,
        high=1.0,
    )
    early_part: float = setting(
        0.25, "1", Source.PROPOSED, "Part of the early hours left after which to measure.", low=0.05, high=1.0
    )
    near_days: float = setting(
        30.0,
        "d",
        Source.PRACTICE,
        "An early date nearer than this makes a survey due this week.",
        low=1.0,
        high=365.0,
    )
    silence_times: float = setting(
        2.0,
        "1",
        Source.PRACTICE,
        "Intervals without a survey after which a strand cannot be judged.",
        low=1.1,
        high=10.0,
    )
    same_survey_days: float = setting(
        7.0,
        "d",
        Source.PROPOSED,
        "Readings further apart than this are not set against each other.",
        low=0.0,
        high=60.0,
    )


@dataclass(frozen=True)
class Planning:
    """What lies between seeing a limit and having the new chain on the machine."""

    lead_days: float = setting(
        112.0, "d", Source.PRACTICE, "Lead time of a chain where the register has none.", low=0.0, high=1500.0
    )
    margin_days: float = setting(
        14.0, "d", Source.PRACTICE, "Margin on top of the lead time.", low=0.0, high=365.0
    )
    replacement_base_hours: float = setting(
        6.0, "h", Source.PRACTICE, "Replacing a set: hours however short it is.", low=0.0, high=200.0
    )
    replacement_hours_per_m: float = setting(
        0.25,
        "h/m",
        Source.PRACTICE,
        "Replacing a set: hours for each metre of each strand.",
        low=0.0,
        high=10.0,
    )
    run_in_percent: float = setting(
        0.15,
        "%",
        Source.PRACTICE,
        "Bedding of a new chain, taken off the limit when its wear rate is turned into a life.",
        low=0.0,
        high=0.5,
    )


@dataclass(frozen=True)
class Findings:
    """How far what people see and gauge may go before somebody looks closer."""

    tooth_wear_part: float = setting(
        0.10,
        "1",
        Source.PRACTICE,
        "Gauge depth on a tooth's working face as a part of roller or barrel diameter.",
        low=0.02,
        high=0.3,
    )
    gauge_points: float = setting(
        0.5,
        "points",
        Source.PRACTICE,
        "Elongation gained since a gauging of teeth, sidebars or clearance, after which it counts as old.",
        low=0.1,
        high=3.0,
    )
    marks_when_wide: int = setting(
        8, "marks", Source.PRACTICE, "Marks to measure when one is far longer than the mean.", low=3, high=100
    )
    spread_points: float = setting(
        0.3,
        "points",
        Source.PROPOSED,
        "Longest mark less the mean, above which the cause is local.",
        low=0.05,
        high=3.0,
    )
    loop_pitches: float = setting(
        2.0,
        "pitches",
        Source.DERIVED,
        "Pitches registered less those that centres and teeth need, above which one of them is wrong.",
        low=0.5,
        high=100.0,
    )
    takeup_apart_points: float = setting(
        0.3,
        "points",
        Source.PROPOSED,
        "Tape mean less take-up, above which one of them is wrong.",
        low=0.05,
        high=3.0,
    )


@dataclass(frozen=True)
class JudgementSettings:
    """The sections of the settings file that the rules read, each with the site's own values over it.

    ``measuring`` is what surveys and hours were reckoned with before: the rules only name it.
    """

    limits: Layered[Limits] = field(default_factory=lambda: Layered(Limits()))
    forecast: Layered[Forecast] = field(default_factory=lambda: Layered(Forecast()))
    lubrication: Layered[Lubrication] = field(default_factory=lambda: Layered(Lubrication()))
    surveying: Layered[Surveying] = field(default_factory=lambda: Layered(Surveying()))
    planning: Layered[Planning] = field(default_factory=lambda: Layered(Planning()))
    findings: Layered[Findings] = field(default_factory=lambda: Layered(Findings()))
    measuring: Layered[MeasuringSettings] = field(default_factory=lambda: Layered(MeasuringSettings()))

    def told(self, section: str, name: str, machine: str, strand: str) -> Fact:
        """The setting that holds for a strand, as a fact ``section.field``; who share it share the record."""
        layered: Layered[Any] = getattr(self, section)
        key = section, name, layered.override(name, machine, strand)
        found = self._told.get(key)
        if found is None:
            holds = layered.sourced(name, machine, strand)
            found = Fact(f"{section}.{name}", holds.value, holds.unit, holds.origin, holds.is_default)
            self._told[key] = found
        return found

    @cached_property
    def _told(self) -> dict[tuple[str, str, Override | None], Fact]:
        return {}


#: section of the settings file → record
SECTIONS: dict[str, type] = {
    "limits": Limits,
    "forecast": Forecast,
    "lubrication": Lubrication,
    "surveying": Surveying,
    "planning": Planning,
    "findings": Findings,
}


def says(name: str) -> str:
    """The sentence of a setting named ``section.field``; blank for one that is not ours."""
    section, _, field_name = name.partition(".")
    record = MeasuringSettings if section == "measuring" else SECTIONS.get(section)
    about = told_of(record).get(field_name) if record else None
    return str(about["says"]) if about else ""
