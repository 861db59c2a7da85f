"""An order lists every setting that entered its numbers, and no others.

Every setting of the judgement is changed in turn, a little and to the ends of its range. For each change the
plant stands once more, on machines of its own, so that all are judged in one pass.
"""

from __future__ import annotations

from dataclasses import fields
from datetime import date
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from tests.judgement.plant import (
    EXAMPLE_SURVEYS,
    MONDAY,
    alone,
    checks,
    due,
    judged,
    overridden,
    shutdowns,
    strand,
    surveys,
    unmeasured,
    worn,
)

from takeup.judgement.rules import OWN
from takeup.judgement.settings import SECTIONS, JudgementSettings
from takeup.layered import Layered, Override

if TYPE_CHECKING:
    from takeup.model import Verdict

NO_CASE = {"pin_case_mm": 0.0, "bushing_case_mm": 0.0}
UNSTATED = {"pin_case_mm": np.nan, "bushing_case_mm": np.nan, "case_certified": "no"}
SIZES = {"sidebar_height_mm": 76.0, "sidebar_hole_mm": 36.0}
NO_LEAD = {"lead_time_days": np.nan}
OF_OWN = EXAMPLE_SURVEYS[1]
ROSE = [(500, 0.2), (1500, 0.5), (2500, 0.8), (3500, 1.1), (4500, 2.0), (5500, 2.9)]
PAST = [(1000, 0.6), (2000, 1.2), (3000, 1.7), (4000, 2.3)]

#: name → what differs, surveys of the life
STRANDS: dict[str, tuple[dict[str, Any], list[tuple[float, float]]]] = {
    "own rate": (NO_LEAD, OF_OWN),
    "lead stated": ({"replacement_hours": 20.0}, OF_OWN),
    "default case": (UNSTATED | NO_LEAD | worn(2.3), [(hours, 1.5 * e) for hours, e in OF_OWN]),
    "no case": (NO_CASE | NO_LEAD | worn(2.3), [(hours, 1.5 * e) for hours, e in OF_OWN]),
    "start rate": ({"service": "clean"} | worn(1.6), []),
    "start rate, severe": ({"service": "highly_abrasive"} | worn(1.6), []),
    "past the case": (worn(2.4) | NO_LEAD, PAST[:3]),
    "rose": (NO_CASE | worn(2.9), ROSE),
    "fixed": ({"fixed_centres": "yes"} | NO_CASE | worn(1.3), [(h, 0.8 * e) for h, e in OF_OWN]),
    "drive": ({"kind": "heavy_drive", "teeth_max": 90} | NO_CASE | worn(1.9), OF_OWN),
    "stated limit": ({"limit_override_percent": 1.8} | NO_CASE, OF_OWN),
    "little travel": ({"takeup_used_mm": 430.0} | worn(0.8), []),
    "little travel, brought forward": (
        {"takeup_travel_mm": 185.0, "takeup_used_mm": 150.0, "takeup_day": MONDAY - 30}
        | worn(0.8, takeup_hours=4996.0), [],
    ),
    "apart": ({"e_takeup": 2.5} | worn(0.8), []),
    "wide": ({"spread": 0.5}, []),
    "to lubricate": ({"lube_last_hours": 5350.0} | worn(0.5), []),
    "wet and idle": ({"wet": "yes", "lube_last_day": MONDAY - 40} | worn(0.5), []),
    "to measure": ({"hours_now": 7300.0} | worn(0.5), []),
    "to measure soon": ({"hours_now": 5610.0} | worn(1.65), OF_OWN),
    "too little": ({"lube_quantity_ml": 48.0, "lube_given_ml": 10.0} | worn(0.5), []),
    "too much": ({"lube_quantity_ml": 48.0, "lube_given_ml": 100.0} | worn(0.5), []),
    "not written down": ({"lube_last_hours": 5350.0, "lube_blank_quantity_run": 2} | worn(0.5), []),
    "by hand": ({"lube_plan": "manual_drive", "lube_last_hours": 5400.0} | worn(0.5), []),
    "sealed": ({"lube_plan": "sealed_greaseable", "lube_last_hours": 4900.0} | worn(0.5), []),
    "rose near the case": (worn(1.885), [(hours, 0.65 * e) for hours, e in ROSE]),
    "never to be shortened": ({"takeup_travel_mm": 150.0, "takeup_used_mm": 140.0} | worn(0.6), []),
    "thin edges": (SIZES | {"sidebar_now_mm": 67.0} | worn(0.5), []),
    "edges at the plan line": (SIZES | {"sidebar_now_mm": 70.0} | worn(0.5), []),
    "no clearance": ({"clearance_now_mm": 9.0, "clearance_min_mm": 9.0} | worn(0.5), []),
    "gauged long ago": (SIZES | {"sidebar_now_mm": 75.0, "sidebar_hours": 500.0} | worn(0.5), []),
    "silent": ({"hours_now": 9500.0} | worn(0.5), []),
}  # fmt: skip


Key = tuple[str, str, str]
SETTINGS = [(section, item) for section, record in SECTIONS.items() for item in fields(record)]
ON = date(2026, 1, 5)


def plant() -> list[dict[str, Any]]:
    """The strands above, each on a machine of its own, a pair, and a strand that was never measured."""
    pair = NO_CASE | {"centres_mm": 9000.0, "strand_spacing_mm": 900.0, "machine": "pair", "set": "pair"}
    return [
        *(alone(name, **differs) for name, (differs, _) in STRANDS.items()),
        strand("pair A", **(pair | worn(1.2))),
        strand("pair B", **(pair | worn(0.8))),
        unmeasured("new", machine="new", set="new", hours_now=400.0, hours_reckoned=400.0),
    ]


def told(copies: int, settings: JudgementSettings) -> list[dict[Key, Verdict]]:
    """Every due answer by rule, subject and case, a table for each copy of the plant."""
    rows, lives, gauged = [], [], []
    for copy in range(copies):
        for row in plant():
            name = f"{row['strand']}#{copy}"
            own = {"strand": name, "life_id": f"{name}|2025-03-01"}
            rows.append(row | own | {each: f"{row[each]}#{copy}" for each in ("machine", "set")})
        lives += [(f"{name}#{copy}|2025-03-01", points) for name, (_, points) in STRANDS.items() if points]
        gauged.append({"strand": f"own rate#{copy}", "machine": f"{copy}", "gauge_depth_mm": 6.0})
    stops = ("spring", "all", MONDAY + 60, MONDAY + 62), ("next", "all", MONDAY + 400, MONDAY + 402)
    found = judged(
        *rows,
        surveys=surveys(*lives),
        shutdowns=shutdowns(*stops),
        sprockets=checks(*gauged),
        settings=settings,
        # Data wanted are asked for all strands at once: see the last test.
        rules=tuple(rule for rule in OWN if rule.name != "data_unjudged"),
    )
    tables: list[dict[Key, Verdict]] = [{} for _ in range(copies)]
    for each in found.due:
        name, _, copy = each.subject.partition("#")
        tables[int(copy)][each.rule, name, each.reason] = each
    return tables


def figures(verdict: Verdict) -> dict[str, Any]:
    """What an order says of a verdict, whatever the copy is called."""
    facts = {
        fact.name: fact.value.partition("#")[0] if isinstance(fact.value, str) else fact.value
        for fact in verdict.facts
    }
    return facts | {"need_by": verdict.need_by, "buy_by": verdict.buy_by, "threshold": verdict.threshold}


def changes(item: Any) -> list[Any]:
    """A value near the default of a setting, and the ends of its range."""
    near = item.default + 1 if isinstance(item.default, int) else item.default * 1.03
    return [near, item.metadata["low"], item.metadata["high"]]


@cache
def base() -> dict[Key, Verdict]:
    return told(1, JudgementSettings())[0]


def for_the_site(item: Any) -> bool:
    """One value for the whole site: no machine may have its own."""
    return bool(item.metadata["finest"] == "site")


def trials() -> list[tuple[str, Any, dict[Key, Verdict]]]:
    """Setting, changed value, and what is due then; one place for machines of their own, and for the site."""
    found = []
    asked = [(section, item, value) for section, item in SETTINGS for value in changes(item)]
    own = [each for each in asked if not for_the_site(each[1])]
    layers: dict[str, dict[str, dict[str, Override]]] = {section: {} for section in SECTIONS}
    machines = {row["machine"] for row in plant()} | {""}
    for copy, (section, item, value) in enumerate(own):
        override = Override(value, "tried", "tests", ON, date(2027, 1, 5), "takeup.toml")
        for machine in (*(f"{name}#{copy}" for name in machines), f"{copy}"):
            layers[section][machine] = {item.name: override}
    settings = JudgementSettings(
        **{section: Layered(record(), machine=layers[section]) for section, record in SECTIONS.items()}
    )
    for (section, item, value), table in zip(own, told(len(own), settings), strict=True):
        found.append((f"{section}.{item.name}", value, table))
    for section, item, value in asked:
        if for_the_site(item):
            tried = overridden(section, **{item.name: value})
            found.append((f"{section}.{item.name}", value, told(1, tried)[0]))
    return found


@cache
def moved() -> dict[Key, set[str]]:
    """Answer → the settings that, changed, change one of its numbers or unmake it."""
    found: dict[Key, set[str]] = {key: set() for key in base()}
    for name, _, table in trials():
        for key, verdict in base().items():
            if key not in table or figures(table[key]) != figures(verdict):
                found[key].add(name)
    return found


#: settings that choose between things and so may move nothing until another choice falls
CHOOSE = {
    "limits.ride_percent",  # the lesser of two holds
    "limits.conveyor_percent",
    "limits.pin_share",
    "limits.pin_strength_kept",
    "limits.bushing_wall_part",
    "limits.plan_part",
    "forecast.run_in_hours",  # which surveys count
    "forecast.slope_surveys",
    "forecast.phase_ratio",
    "forecast.past_case_factor",  # of a limit that is passed already
    "surveying.silence_times",
    "surveying.longest_hours",  # the interval lies between the two
    "surveying.shortest_hours",
    "lubrication.starved_times",
    "lubrication.grace_part",  # which cause is likely
    "lubrication.open_conveyor_hours",
    "lubrication.least_part",  # which records count
    "lubrication.round_part",  # and which are one round
    "surveying.near_days",
    "limits.takeup_u_mm",  # whether the end of the take-up is reached within its uncertainty
    "forecast.rate_severe_upper",
    "forecast.rate_abrasive_bulk_upper",  # the greater of it and the pooled rate; no early hours are left
    "limits.drive_percent",
}


def test_nearly_every_setting_is_read_by_something_due_here() -> None:
    read = set().union(*moved().values())
    missing = {f"{section}.{item.name}" for section, item in SETTINGS} - read
    start = {name for name in missing if name.startswith("forecast.rate_")}
    # The bedding of a next chain is told with the prices of the options, in a table of its own; the drops of
    # a film to whoever fills in the register, where nothing can be due; and the round was summed before, from
    # the records.
    other = {"lubrication.drops_per_pitch", "lubrication.drop_ml", "lubrication.round_part"}
    assert missing - start == {"planning.run_in_percent"} | other


@pytest.mark.parametrize("key", base(), ids=lambda key: f"{key[0]}: {key[1]}")
def test_whatever_moves_an_answer_is_listed_with_it_and_what_is_listed_moves_it(key: Key) -> None:
    listed = {fact.name for fact in base()[key].settings if not fact.name.startswith("measuring.")}
    assert moved()[key] - listed == set()
    assert listed - moved()[key] - CHOOSE == set()


def test_a_site_s_value_is_listed_with_who_answers_for_it() -> None:
    told_by = due(judged(strand(), settings=overridden("limits", pin_share=0.4)), "limit_coming").settings
    share = next(fact for fact in told_by if fact.name == "limits.pin_share")
    assert (share.value, share.is_default) == (0.4, False)
    assert "tight casing; chain steward, 2026-01-05; review by 2027-01-05" in share.origin


def test_a_value_of_the_register_stands_in_no_list_of_settings() -> None:
    stated = due(judged(strand(pin_share=0.5)), "limit_coming").settings
    assert not {fact.name for fact in stated} & {
        "limits.pin_share",
        "limits.usable_case_part",
        "planning.lead_days",
    }


def test_a_default_depth_is_listed_with_the_question_for_it() -> None:
    wanted = next(
        each
        for each in judged(strand(**UNSTATED), only=("data_unjudged",)).due
        if each.reason == "case_depth_missing"
    )
    assert [fact.name for fact in wanted.settings] == [f"limits.{wanted.subject.partition('/')[2]}"]
