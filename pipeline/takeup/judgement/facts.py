"""The facts a rule may give: names the templates put into words, each with its unit and meaning.

A fact holds evidence and what is reckoned from it as of the strand's reckoning day, never a number that
changes with every night. :data:`FACTS` is the whole table; a test says that no rule gives a name or a unit
outside it. A fact that is not known is left out.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from typing import Any

from takeup.layered import Layered
from takeup.model import Fact

_EPOCH = date(1970, 1, 1)
_COUNTED = frozenset({"marks", "pitches", "surveys", "forecasts", "lives", "strands", "rows", "1"})

#: name → (unit, meaning)
FACTS: dict[str, tuple[str, str]] = {
    # the survey
    "survey_on": ("day", "day of the survey the verdict rests on"),
    "e_percent": ("%", "elongation set against the limit, from the zero named by zero"),
    "uncertainty_percent": ("%", "its expanded uncertainty U, about 95 %"),
    "zero": ("word", "as_fitted: from the as-fitted length; nominal: from nominal pitch"),
    "from_mark": ("word", "mean: mean of the marks; longest: the longest mark, further from the mean than U"),
    "baseline": ("word", "as_left, early or nominal: what the as-fitted zero rests on"),
    "marks": ("marks", "marks measured in the survey"),
    "spread_points": ("points", "longest mark less the mean, from the zero named by zero"),
    "longest_mark": ("word", "name of the longest mark"),
    "spread_limit_points": ("points", "spread above which the cause is local"),
    "marks_wanted": ("marks", "marks to measure then"),
    # limits
    "limit": ("word", "which limit: sprocket, fixed, conveyor, override, takeup, case, chrome, pin, bushing"),
    "limit_kind": ("word", "acceleration, function or strength"),
    "limit_percent": ("%", "the limit, from the zero named by zero"),
    "plan_percent": ("%", "the plan line of that limit"),
    "case_percent": ("%", "where the hardened case is through and wear goes on faster"),
    "default_case": ("word", "past or within: how the mean stands to a case of default depth"),
    "case_part": ("word", "pin or bushing: whose case that is"),
    "case_default_mm": ("mm", "the default depth of it"),
    "next_limit": ("word", "the limit beyond the hardened case that may be reached first"),
    "next_limit_kind": ("word", "function or strength"),
    "next_limit_percent": ("%", "that limit, from the as-fitted length"),
    "not_judged": ("words", "limits that could not be worked out"),
    "at_most": ("word", "limit of fit taken as its cap, since the teeth are not known; it may be lower"),
    "missing": ("words", "register values wanted for them, or for the rule"),
    # forecast
    "rate": ("%/1000 h", "wear rate"),
    "rate_source": ("word", "own, own_past_case, own_times_factor, pooled, start or none"),
    "rate_surveys": ("surveys", "surveys in the rate"),
    "rate_to_case": ("%/1000 h", "wear rate until the hardened case is through"),
    "factor_past_case": ("1", "times that rate once it is through"),
    "since_case_surveys": ("surveys", "surveys since it wore through, too few yet for a rate in force"),
    "since_case_rate": ("%/1000 h", "rate between the first and the last of them"),
    "since_case_uncertainty": ("%/1000 h", "its expanded uncertainty U, about 95 %"),
    "since_case_agrees": ("word", "agrees, slower or faster: that rate, with U, against the rate used"),
    "reckoned_on": (
        "day",
        "reckoning day of the dates: the latest survey or the Monday before the as-of day",
    ),
    "hours_per_day": ("h/d", "utilisation of the middle date"),
    "hours_per_day_early": ("h/d", "utilisation of the early date"),
    "hours_early": ("h", "run hours from the survey to the limit ahead, early bound"),
    "hours_middle": ("h", "the same, middle"),
    "hours_late": ("h", "the same, late bound; left out when open"),
    "early_on": ("day", "early date of the limit ahead"),
    "middle_on": ("day", "middle date of the limit ahead"),
    "late_on": ("day", "late date of the limit ahead"),
    "bounds_basis": ("word", "fleet, shipped or default: what made the bounds"),
    "fleet_number": ("1", "number of the fleet's table of past forecasts"),
    "fleet_forecasts": ("forecasts", "past forecasts made at this stage"),
    "fleet_lent": ("forecasts", "past forecasts that other stages lent it"),
    "fleet_lives": ("lives", "lives in its cell"),
    "factor_low": ("1", "true hours over forecast, low end of the cell, as the record has it"),
    "factor_high": ("1", "true hours over forecast, high end of the cell, as the record has it"),
    "factor_early": ("1", "early hours over middle hours"),
    "factor_late": ("1", "late hours over middle hours"),
    # planning
    "need_by_on": ("day", "the work must be done by then"),
    "buy_by_on": ("day", "the chain must be ordered by then"),
    "shutdown": ("word", "the planned stop chosen; left out when none fits"),
    "lead_days": ("d", "lead time of the chain"),
    "margin_days": ("d", "planning margin"),
    "job_hours": ("h", "length of the replacement"),
    "next_stop": ("word", "the next planned stop that takes the replacement; left out when none is known"),
    "next_stop_on": ("day", "day on which it begins"),
    "set_here_on": ("day", "a set ordered on the reckoning day is here at the earliest"),
    # take-up
    "takeup_on": ("day", "day of the take-up reading"),
    "takeup_basis": ("word", "read, brought_forward (read before the survey) or estimated (never read)"),
    "read_used_mm": ("mm", "travel used as read on takeup_on, where the reading was brought forward"),
    "forward_to_on": ("day", "day of the survey to which the reading was brought forward"),
    "e_then_percent": ("%", "mean elongation on takeup_on, straight between the surveys in run hours"),
    "e_forward_percent": ("%", "mean elongation of the survey of forward_to_on"),
    "chain_now_mm": ("mm", "pitches in the strand times the pitch: the screws take up half of what it grows"),
    "used_mm": ("mm", "travel used, the screw further out; on the day of the survey where brought forward"),
    "left_mm": ("mm", "travel left"),
    "travel_mm": ("mm", "whole travel"),
    "trigger_mm": ("mm", "travel left at which the work is asked for"),
    "takeup_limit_percent": ("%", "elongation at which the travel is out"),
    "takeup_out_hours_early": ("h", "run hours from the survey until the travel is out, early bound"),
    "takeup_out_hours_middle": ("h", "the same, middle"),
    "takeup_out_hours_late": ("h", "the same, late bound; left out when open"),
    "takeup_out_early_on": ("day", "early date of the end of the travel"),
    "takeup_out_middle_on": ("day", "middle date of it"),
    "takeup_out_late_on": ("day", "late date of it"),
    "remove_pitches": ("pitches", "k: pitches to remove on every strand of the set"),
    "step_pitches": ("pitches", "smallest k that construction and attachments allow"),
    "returns_mm": ("mm", "travel that removing k gives back"),
    "joining_slack_mm": ("mm", "slack needed to join"),
    "left_after_mm": ("mm", "travel left after removing k"),
    "pitches_after": ("pitches", "pitches in the strand after removing k"),
    "takeup_limit_after_percent": ("%", "elongation at which the take-up is out again after removing k"),
    "held_by": ("word", "the strand of the set that cannot be shortened, or not yet"),
    "at_limit": ("word", "limit other than the take-up that the chain has reached"),
    "replaced_from_on": (
        "day",
        "the replacement can be counted on from then: set here, margin run, work due",
    ),
    "why_not": (
        "word",
        "never: no step ever fits the travel; in_time: replaced before; strength: that comes first",
    ),
    "e_takeup_percent": ("%", "mean elongation by the take-up"),
    "apart_points": ("points", "difference of tape mean and take-up"),
    "apart_limit_points": ("points", "difference above which one of them is wrong"),
    # lubrication
    "lube_plan": ("word", "lube plan of the register"),
    "interval_hours": ("h", "interval of lubrication, or of surveys"),
    "interval_days": ("d", "days allowed without lubricant when wet and idle"),
    "last_lube_on": ("day", "last lubrication that counts; left out: none since fitting"),
    "last_lube_hours": ("h", "life hours of it; 0 at fitting"),
    "due_hours": ("h", "life hours at which the work falls due"),
    "overdue_hours": ("h", "life hours at which the grace ends"),
    "starved_hours": ("h", "life hours at which the joint is starved"),
    "due_on": ("day", "day on which it fell due, by the calendar or as read from the meter"),
    "due_about_on": ("day", "day on which it fell or falls due, forecast at the usual hours per day"),
    "quantity_ml": ("mL", "quantity planned"),
    "lubricant": ("word", "lubricant planned"),
    "given_ml": (
        "mL",
        "lubricant given in the round that ends with the newest record, by the records",
    ),
    "given_on": ("day", "day of the newest lube record"),
    "least_ml": ("mL", "less than this in one round is too little"),
    "most_ml": ("mL", "more than this in one round is too much"),
    "blank_run": ("1", "newest lube records in a row without a quantity"),
    "joint_ml": ("mL", "lubricant that fills one joint"),
    "joints_ml": ("mL", "lubricant that fills every joint of the strand"),
    "film_ml": ("mL", "lubricant of a film by brush or drip on the strand"),
    "lapse_hours": ("h", "run hours beyond interval and grace, between surveys of this life"),
    "lapse_cost_points": ("points", "elongation they cost beyond the rate within the plan"),
    "lapse_uncertainty_points": ("points", "its expanded uncertainty, about 95 %"),
    "rate_within_plan": ("%/1000 h", "wear rate in the hours within interval and grace"),
    "rate_beyond_plan": ("%/1000 h", "wear rate in the hours beyond"),
    "greased_on": ("day", "day a chain that is dry by decision was lubricated"),
    "greased_with": ("word", "lubricant of that record"),
    "greased_ml": ("mL", "quantity of that record"),
    "greased_how": ("word", "method of that record"),
    "greased_by": ("word", "who did it, by that record"),
    # surveys due
    "fitted_on": ("day", "day the chain was fitted"),
    "next_survey_hours": ("h", "life hours at which the next survey is due"),
    "next_survey_on": ("day", "day on which the next survey is due"),
    "last_survey_hours": ("h", "life hours of the last survey"),
    "hastened_by": ("words", "why the interval is shortened: starved, seals_lost"),
    "set_aside_on": ("day", "day of the newest readings that were set aside"),
    "shortened_on": ("day", "day the chain was shortened"),
    # change of rate
    "rate_before": ("%/1000 h", "rate before the change"),
    "rate_after": ("%/1000 h", "rate since the change"),
    "change_hours": ("h", "life hours of the survey from which the rate rose"),
    # wear by travel
    "loops_per_hour": ("loops/h", "how often each joint comes round in an hour"),
    "slide_m_per_h": ("m/h", "how far pin and bushing slide on each other in an hour"),
    "rate_per_km": ("%/km", "wear rate by the kilometre slid"),
    "rate_per_km_middle": ("%/km", "the middle of the strands in the same service"),
    "sisters": ("strands", "strands in that middle, this one too"),
    # findings
    "finding": ("word", "most urgent finding, a word of the vocabulary or unclassified"),
    "findings": ("words", "all findings behind the verdict"),
    "as_written": ("word", "the finding as it was delivered"),
    "site_word": ("word", "the word of the site's own vocabulary that put it there"),
    "telling_word": ("word", "the word among what was written that made it a matter of stopping"),
    "remark": ("word", "remark of that row"),
    "place": ("word", "place of that row"),
    "severity": ("word", "stop, soon, shutdown or note"),
    "seen_on": ("day", "day it was seen"),
    "rows": ("rows", "how many rows stand behind the verdict"),
    "inspections": ("1", "on how many days it was seen, not yet looked into"),
    # sidebars and clearance
    "gauged_on": ("day", "day it was gauged"),
    "hours_since": ("h", "run hours since it was gauged"),
    "points_since": ("points", "elongation that the chain has gained since, at its rate"),
    "points_old": ("points", "elongation gained from which what was gauged counts as old"),
    "height_mm": ("mm", "height of a sidebar when new"),
    "height_now_mm": ("mm", "height of the thinnest sidebar"),
    "hole_mm": ("mm", "hole in the sidebar"),
    "gauge_u_mm": ("mm", "expanded uncertainty of what was gauged"),
    "loss_percent": ("%", "part of the net section between edge and hole that is gone"),
    "loss_u_percent": ("%", "its expanded uncertainty"),
    "loss_plan_percent": ("%", "part at which to turn the chain over"),
    "loss_limit_percent": ("%", "part at which the chain is at its limit"),
    "clearance_mm": ("mm", "least clearance gauged"),
    "clearance_min_mm": ("mm", "least clearance by the site's drawing"),
    # the loop
    "pitches": ("pitches", "pitches in the strand, as registered"),
    "pitch_mm": ("mm", "pitch when new"),
    "centres_mm": ("mm", "shaft centre distance"),
    "teeth_drive": ("1", "teeth of the driving sprocket"),
    "teeth_tail": ("1", "teeth of the tail sprocket"),
    "chain_mm": ("mm", "length of the chain as fitted: pitches times pitch"),
    "loop_mm": ("mm", "length that centres and teeth need"),
    "loop_apart_mm": ("mm", "the first less the second"),
    "loop_limit_mm": ("mm", "difference above which one of them is wrong"),
    # a machine that must not run
    "run_since_hours": ("h", "run hours that the meter shows since the machine must not run"),
    "run_from_on": ("day", "day of the first meter reading since then"),
    "run_to_on": ("day", "day of the last meter reading"),
    # matching
    "strand_long": ("word", "strand of the set that is longest"),
    "strand_short": ("word", "strand of the set that is shortest"),
    "e_long_percent": ("%", "its elongation over nominal"),
    "e_short_percent": ("%", "the other's"),
    "difference_points": ("points", "the difference"),
    "uncertainty_points": ("points", "expanded uncertainty of the difference"),
    "match_limit_points": ("points", "difference at which the set is renewed"),
    "match_plan_points": ("points", "difference at which to look"),
    "lag_by_tape_mm": ("mm", "lag at the tail that the difference makes"),
    "lag_mm": ("mm", "lag as measured"),
    "lag_on": ("day", "day the lag was measured"),
    "skew_degrees": ("degree", "skew of flight or bucket, by the measured lag if there is one"),
    "skew_limit_degrees": ("degree", "skew at which the set is renewed"),
    "skew_limit_points": ("points", "that skew as a difference on this set, where it comes first"),
    "skew_plan_points": ("points", "the skew at which to look, the same"),
    "skew_plan_degrees": ("degree", "skew at which to look"),
    # sprockets
    "sprocket": ("word", "sprocket gauged"),
    "depth_mm": ("mm", "gauge depth on its working face"),
    "depth_limit_mm": ("mm", "depth at which to renew or reverse"),
    "mesh_diameter_mm": ("mm", "diameter of what meets the tooth"),
    "meshes_on": ("word", "roller or barrel"),
    "checked_on": ("day", "day it was gauged"),
    "turned": ("yes/no", "already reversed once"),
    # data
    "feed": ("word", "feed in question"),
    "reason": ("word", "reason code of the rows kept out"),
    "value": ("word", "register column that is missing"),
    "strands": ("words", "strands concerned"),
    "lines": ("words", "file and line of the rows, the first few"),
    "hides_alert": ("yes/no", "a strand concerned is past a plan line or cannot be judged"),
    "default_mm": ("mm", "the default depth that stands in"),
    "lacking": ("words", "codes of what the register of energy sources lacks"),
    "lacking_of": ("words", "the source that each of them is about; blank for the whole machine"),
    "replaced_on": ("day", "day the set was closed out as replaced"),
}

#: where a value comes from, beside the settings (see :meth:`takeup.layered.Layered.sourced`)
REGISTER = "the register"
SURVEY = "the survey"
READING = "the take-up reading"
METER = "the meter readings"
LUBED = "the lube records"
SEEN = "the inspection finding"
VOCABULARY_SAYS = "the vocabulary of findings: the row states no severity as grave"
WORDS_SAY = "the words of the finding or its remark: the row states no severity as grave"
GAUGED = "the sprocket check"
STOPS = "the shutdown plan"
CLOSED = "the order close-outs"
KEPT_OUT = "rows kept out"
FLEET = "the record of past forecasts"
RECKONED = "reckoned by takeup"


def fact(name: str, value: Any, origin: str = RECKONED, *, is_default: bool = False) -> Fact:
    """One fact of :data:`FACTS` with its unit; a day number becomes a date where the unit is a day."""
    unit = FACTS[name][0]
    if unit == "day":
        value = _EPOCH + timedelta(days=int(value))
    elif unit in _COUNTED and not 0 < value < 1:
        value = round(value, 2) if name.startswith("factor") else round(value)
    return Fact(name, _plain(value), unit, origin, is_default)


def facts(values: Mapping[str, Any], origin: str = RECKONED) -> tuple[Fact, ...]:
    """A fact for each value that is known: NaN, infinity, None, blank text and empty tuples are left out."""
    return tuple(fact(name, value, origin) for name, value in values.items() if known(value))


def setting_fact(
    name: str,
    settings: Layered[Any],
    setting: str,
    row: Mapping[str, Any],
    value: Any = None,
    of: str = "",
) -> Fact:
    """The fact for a number of the settings, with the story of that number.

    Parameters
    ----------
    name : str
        Of the fact.
    settings : Layered
    setting : str
        Field of the settings.
    row : mapping
        Names machine and strand.
    value : optional
        What was reckoned from the setting, in place of its own value.
    of : str, optional
        How it was: the setting's value is put in front, as ``0.15`` before ``of the whole travel``.
    """
    found = settings.sourced(setting, str(row.get("machine", "")), str(row.get("strand", "")))
    origin = f"{found.value:.6g} {of}: {found.origin}" if of else found.origin
    return fact(name, found.value if value is None else value, origin, is_default=found.is_default)


def joined(*parts: Iterable[Fact]) -> tuple[Fact, ...]:
    """All facts in order."""
    return tuple(item for part in parts for item in part)


def known(value: Any) -> bool:
    """Whether there is anything to say."""
    if value is None or (isinstance(value, str | tuple | list) and len(value) == 0):
        return False
    return not (isinstance(value, float) and not math.isfinite(value))


def day(number: float | None) -> date | None:
    """The date of a day number; None where it is not known or open."""
    return _EPOCH + timedelta(days=int(number)) if known(number) and number is not None else None


def _plain(value: Any) -> Any:
    """A value of the plain kinds, so that it reads the same from the store."""
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, list):
        return tuple(value)
    return value
