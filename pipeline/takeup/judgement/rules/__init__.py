"""The rules: one small file each; a site's own come in by entry points of the group ``takeup.rules``."""

from __future__ import annotations

from functools import cache
from importlib.metadata import entry_points

from takeup.errors import SettingsError
from takeup.judgement.rule import Rule
from takeup.judgement.rules import (
    abnormal_finding,
    clearance,
    corrosion_review,
    data_unjudged,
    grease_on_dry,
    limit_coming,
    limit_in_doubt,
    lube_overdue,
    lube_quantity,
    matching,
    matching_in_doubt,
    rate_change,
    register_gap,
    register_loop,
    sidebar_edge,
    sprocket_wear,
    survey_overdue,
    takeup_low,
    tape_against_takeup,
    wear_by_travel,
    wear_limit,
    wide_spread,
)

GROUP = "takeup.rules"

#: in the order in which a strand's answers are told
OWN: tuple[Rule, ...] = (
    abnormal_finding.RULE,
    corrosion_review.RULE,
    wear_limit.RULE,
    limit_in_doubt.RULE,
    limit_coming.RULE,
    takeup_low.RULE,
    sidebar_edge.RULE,
    clearance.RULE,
    matching.RULE,
    matching_in_doubt.RULE,
    sprocket_wear.RULE,
    lube_overdue.RULE,
    lube_quantity.RULE,
    grease_on_dry.RULE,
    survey_overdue.RULE,
    rate_change.RULE,
    wear_by_travel.RULE,
    wide_spread.RULE,
    tape_against_takeup.RULE,
    register_loop.RULE,
    data_unjudged.RULE,
    register_gap.RULE,
)


@cache
def registered() -> tuple[Rule, ...]:
    """Our rules and those of the site's plug-ins, in a fixed order.

    Raises
    ------
    SettingsError
        If a plug-in is no rule, or takes the name of another.
    """
    rules = {rule.name: rule for rule in OWN}
    for point in sorted(entry_points(group=GROUP), key=lambda point: (point.name, point.value)):
        rule = point.load()
        if not isinstance(rule, Rule):
            raise SettingsError(
                f"{point.value!r} is {type(rule).__name__}, wanted a takeup.judgement.rule.Rule",
                where=f"entry point {point.name!r} of the group {GROUP!r}",
                todo="Put the module's RULE behind the entry point.",
            )
        if rule.name in rules:
            raise SettingsError(
                f"two rules are named {rule.name!r}",
                where=f"entry point {point.name!r} of the group {GROUP!r}",
                why="Orders and sentences are found by the name of their rule.",
                todo="Give the site's rule a name of its own.",
            )
        rules[rule.name] = rule
    return tuple(rules.values())
