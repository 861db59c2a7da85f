"""Every case a rule can answer with, in words for developers; the reader's sentence is a template a case.

A verdict's ``reason`` holds a case of its rule. The reader's sentence stands in
``templates/sentences/rule/<rule>__<case>.txt.j2`` and may use every fact that the rule gives (:mod:`.facts`).
A rule of a site brings its own cases in :attr:`takeup.judgement.rule.Rule.cases`.
"""

from __future__ import annotations

#: what is missing, where several rules cannot judge for the same want
_NO_SURVEY = "cannot judge: the life has no survey that may be used"
_NO_PITCH = "cannot judge: readings are there, the pitch of the chain is not known"
_LIMIT_UNSURE = "cannot judge: below the most that the limit of fit can be; the teeth say whether it is lower"
_SILENCE = "cannot judge: the last survey is older than twice its interval; silence is not health"
_NO_HOURS = "cannot judge: the machine's run hours are not known"

#: rule → case → what it means
CASES: dict[str, dict[str, str]] = {
    "wear_limit": {
        "strength_past": "due, stop now: the elongation itself is past a strength limit",
        "strength_reached": "due, this week: elongation and uncertainty together reach a strength limit",
        "function_reached": "due, this week: the elongation is at or past a limit of function",
        "function_within": "due, next shutdown: a limit of function lies within the uncertainty",
        "acceleration_reached": "due, next shutdown: the hardened case is through",
        "acceleration_within": "due, next shutdown: the end of the hardened case lies within the uncertainty",
        "below": "clear: every limit judged is further off than the uncertainty",
        "no_survey": _NO_SURVEY,
        "no_pitch": _NO_PITCH,
        "limit_unsure": _LIMIT_UNSURE,
        "silence": _SILENCE,
    },
    "limit_in_doubt": {
        "within": "due, this week: a limit lies between e and e + U, another survey decides",
        "asked_already": "clear: two surveys running left the same doubt; the next comes at its interval",
        "settled": "clear: no limit lies within the uncertainty",
        "no_survey": _NO_SURVEY,
        "no_pitch": _NO_PITCH,
        "limit_unsure": _LIMIT_UNSURE,
    },
    "limit_coming": {
        "next_limit_before_stop": "due, this week: past the case; the next limit may come before a stop",
        "next_limit_after_stop": "due, next shutdown: past the case, the next limit comes after that stop",
        "buy_by_reached": "due: the chain must be ordered now to be here for the early date; own rate",
        "plan_line_no_rate": "due, plan: past the plan line, and no rate of its own to wait by",
        "plan_line_no_dates": "due, plan: past the plan line, own rate, hours per day not known",
        "takeup_running_out": "due: the take-up is nearly out and the chain can never be shortened",
        "past_plan_line": "clear: past the plan line, the buy-by date is still ahead",
        "below_plan_line": "clear: below the plan line, the buy-by date is still ahead or not yet known",
        "no_survey": _NO_SURVEY,
        "no_pitch": _NO_PITCH,
        "limit_unsure": _LIMIT_UNSURE,
        "silence": _SILENCE,
    },
    "takeup_low": {
        "shorten": "due, this week: little travel left; k pitches can be removed now",
        "not_yet": "due, this week: little travel left; one step returns more than is used, adjust and watch",
        "step_unknown": "due, this week: little travel left; attachment spacing not known, so k is not",
        "replace_instead": "clear: little travel left, but the chain is replaced before it is out",
        "enough_left": "clear: more travel left than the trigger",
        "no_takeup": "clear: fixed centres, there is no take-up",
        "no_travel": "cannot judge: the take-up's travel is not in the register",
        "no_reading": "cannot judge: no take-up reading, and no survey to estimate it by",
    },
    "lube_overdue": {
        "due": "due, plan: the interval has run",
        "overdue": "due, this week: the interval and its grace have run",
        "starved": "due, this week: twice the interval has run",
        "calendar_due": "due, plan: wet and idle, the days have run; rust runs on the calendar",
        "calendar_overdue": "due, this week: wet and idle, the days and their grace have run",
        "within_interval": "clear",
        "daily_round": "clear: so short an interval belongs to the daily round; asked for only when starved",
        "dry_by_decision": "clear: the register says none, by decision; never asked for",
        "no_plan": "cannot judge: the register has no lube plan and does not say dry by decision",
        "no_hours": _NO_HOURS,
    },
    "lube_quantity": {
        "too_little": "due, plan: in one round less than half the planned quantity; ask why",
        "too_much": "due, plan: in one round more than twice the planned quantity; ask why",
        "within": "clear: between half and twice the plan",
        "answered": "clear: outside, and the question was closed out since",
        "not_planned": "clear: dry by decision, or no lube plan at all",
        "no_record": "clear: nothing on record in this life yet; the clock says when",
        "not_written": "cannot judge: a quantity was not written down; done, with low confidence",
        "no_plan_quantity": "cannot judge: the register has no planned quantity; the clock still runs",
    },
    "grease_on_dry": {
        "greased": "due, plan: a chain that is dry by decision was lubricated; ask who and why",
        "answered": "clear: lubricated once, and the question was closed out since",
        "not_greased": "clear: dry by decision and left dry",
        "not_dry": "clear: the plan is to lubricate, or there is none",
    },
    "survey_overdue": {
        "never_measured": "due: no survey of this life since the run-in was over",
        "interval": "due, plan: the interval has run",
        "interval_near_limit": "due, this week: the interval has run and the early date is near",
        "last_not_usable": "due, this week: the latest readings were set aside",
        "after_shortening": "due, plan: the chain was shortened after its last survey",
        "silence": "due, this week: twice the interval has run; the strand cannot be judged",
        "within_interval": "clear",
        "running_in": "clear: a new life, its first survey comes at the end of the run-in",
        "no_hours": _NO_HOURS,
    },
    "rate_change": {
        "near_case": "due: the rate rose near the end of the hardened case",
        "seal_finding": "due: the rate rose, and a seal was found missing or crushed",
        "lube_overdue": "due: the rate rose, and lubrication is overdue",
        "rust": "due: the rate rose, and pitting or rust was found, so the joints are looked into",
        "duty": "due: the rate rose and no record says why: new material, speed or load?",
        "looked_into": "clear: the rate rose, and a survey or inspection was closed out since",
        "steady": "clear: no change beyond doubt",
        "no_rate": "cannot judge: too few surveys for two rates",
    },
    "wear_by_travel": {
        "beside_others": "clear: told beside the middle of the strands in the same service",
        "alone": "clear: told; too few strands of the same service have a rate of their own",
        "stands_still": "clear: the register says that the chain does not move",
        "not_known": "clear: speed, pitches, pitch, pin or teeth are not all in the register",
        "no_rate": "clear: no rate of its own yet",
    },
    "abnormal_finding": {
        "fracture": "due, stop now: fracture, loose pin, stretched links: look at the whole system",
        "unread_stop": "due, stop now: free words that hold a stop word, until a person has read them",
        "stop": "due, stop now: another finding that forbids running",
        "soon": "due, this week",
        "shutdown": "due, next shutdown",
        "unread": "due, plan: free words outside the vocabulary, to be read by a person",
        "noted": "clear: a finding that raises no order is on record",
        "closed": "clear: the work was closed out, nothing was found since, or the chain was renewed",
        "none_open": "clear: no finding on record in this life",
    },
    "matching": {
        "difference_at_limit": "due, this week: strands of one set differ by the limit or more",
        "skew_at_limit": "due, this week: the measured lag makes the limit of skew",
        "within": "clear",
        "strand_not_measured": "cannot judge: a strand of the set has no survey that may be used",
        "not_same_day": "cannot judge: measured too far apart, and hours or rate to carry one are not known",
    },
    "matching_in_doubt": {
        "limit_within": "due, this week: the limit lies within the tape's uncertainty; measure the lag",
        "alert_within": "due, plan: the plan line is reached or lies within the uncertainty; measure the lag",
        "lag_known": "clear: the lag was measured since and stands between plan line and limit",
        "settled": "clear",
        "strand_not_measured": "cannot judge: a strand of the set has no survey that may be used",
        "not_same_day": "cannot judge: measured too far apart, and hours or rate to carry one are not known",
    },
    "wide_spread": {
        "wide": "due, plan: one mark is far longer than the mean; measure at more marks",
        "wide_known": "clear: wide, but already measured at more marks",
        "even": "clear",
        "one_mark": "cannot judge: fewer than two marks",
        "no_survey": _NO_SURVEY,
        "no_pitch": _NO_PITCH,
    },
    "tape_against_takeup": {
        "apart": "due, plan: they disagree: miscount, unrecorded shortening, wrong strand, slack",
        "agree": "clear",
        "no_takeup": "clear: fixed centres, there is no take-up to compare with",
        "not_same_day": "cannot judge: tape and take-up were read too far apart",
        "no_reading": "cannot judge: no take-up reading, or start travel or pitches in the strand not known",
        "no_survey": _NO_SURVEY,
        "no_pitch": _NO_PITCH,
    },
    "corrosion_review": {
        "in_joints": "due, next shutdown: pitting or rust was seen in the joints",
        "rate_rose": "due, next shutdown: the wear rate rose after pitting or rust was seen",
        "asked_for": "due, next shutdown or this week: the inspection itself asks for it",
        "seen_again": "due, next shutdown: pitting or rust was seen on two inspections",
        "noted": "clear: seen once, outside the joints; one note raises no order",
        "looked_into": "clear: the inspection was closed out, or a later look found nothing",
        "none": "clear: no pitting or rust on record in this life",
    },
    "sidebar_edge": {
        "limit_reached": "due, this week: the thinnest sidebar has lost the part of its section allowed",
        "limit_within": "due, this week: that limit lies within the uncertainty; strength gets no grace",
        "plan_line_reached": "due, plan: turn the chain over, or plan its replacement",
        "plan_line_again": "due, plan: turned over in this life already; plan its replacement",
        "below_old": "due, plan: below the plan line, and gauged so long ago that it is gauged again",
        "below": "clear",
        "not_asked": "clear: no drag conveyor, no thin sidebar seen, none gauged",
        "not_gauged": "cannot judge: edges wear here, and no sidebar height was gauged in this life",
        "no_sizes": "cannot judge: gauged, but height or hole of the new sidebar is not in the register",
        "taller_than_new": "cannot judge: gauged taller than the register says it was when new",
    },
    "clearance": {
        "used_up": "due, this week: at or below the clearance of the site's drawing",
        "enough_old": "due, plan: enough, and gauged so long ago that it is gauged again",
        "enough": "clear",
        "not_stated": "clear: the register has no clearance of the site's drawing",
        "not_gauged": "cannot judge: the drawing's clearance is known, none was gauged in this life",
    },
    "register_loop": {
        "loop_apart": "due, plan: pitches and shaft centres of the register cannot both be right",
        "agree": "clear",
        "not_known": "clear: pitches, pitch, centres or teeth are not all in the register",
    },
    "sprocket_wear": {
        "tooth_worn": "due, next shutdown: gauge depth on the working face at or past the limit",
        "tooth_old": "due, plan: within the limit, and gauged so long ago that it is gauged again",
        "tooth_sound": "clear",
        "no_diameter": "cannot judge: neither roller nor barrel diameter is in the register",
    },
    "data_unjudged": {
        "rows_refused": "due: rows of a feed were refused for one reason",
        "file_refused": "due: nothing of a file could be used",
        "rows_waiting": "due: rows of a feed wait for a strand or machine the register does not know",
        "rows_set_aside": "due: rows of a feed were set aside for one reason",
        "value_missing": "due: a register value is missing and a strand cannot be judged for want of it",
        "hours_missing": "due: a machine whose strands are judged has no meter reading",
        "case_depth_missing": "due, plan: a case of unknown depth bends the forecast; a default stands in",
        "not_registered": "due, plan: readings of a strand that no register names",
        "renewal_not_recorded": "due, this week: closed out as replaced, the register shows no new life",
        "nothing_open": "clear: nothing of this kind is kept out or missing",
    },
    "register_gap": {
        "incomplete": "due: work is open, and the register of energy sources lacks what lockout needs",
        "complete": "clear: the register says all that is asked of it",
        "no_work": "clear: the register lacks something, and no job on the machine needs lockout",
    },
}

#: where a strand's rate came from (column ``rate_source`` and fact ``rate_source``)
RATE_SOURCES: dict[str, str] = {
    "own": "the strand's own surveys: median of pairwise slopes of its present phase",
    "own_past_case": "the strand's own surveys past the hardened case",
    "own_times_factor": "the strand's own surveys before the case was through, times the factor past it",
    "pooled": "the pooled rate of lives in the same service, from the fleet's numbered table",
    "start": "the start rate of the service, a default until surveys are there",
    "none": "no rate: no surveys, no sisters, and the service is not known",
}

#: what made the early and late bounds (column ``bounds_basis`` and fact ``bounds_basis``)
BOUNDS_BASES: dict[str, str] = {
    "fleet": "the fleet's record of past forecasts",
    "shipped": "the wider of the handbook's bound and the shipped factors: the fleet is young",
    "default": "a range of default rates: the strand has no rate of its own",
}

#: kinds of limit: what reaching it means
LIMIT_KINDS: dict[str, str] = {
    "acceleration": "wear goes on faster from here; nothing stops working",
    "function": "the chain no longer does its work: it rides off, jumps, slackens",
    "strength": "the chain may break",
}

#: rule → feed whose rows are in question, for rules about a strand that ask to correct data; an order of that
#: job has the subject ``<feed>/<case>``
CORRECTED_FEED: dict[str, str] = {
    "grease_on_dry": "lube_records",
    "lube_quantity": "lube_records",
    "tape_against_takeup": "takeup_readings",
    "abnormal_finding": "inspection_findings",
    "register_loop": "strands",
    "register_gap": "energy_sources",
}
