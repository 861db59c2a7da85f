"""What each rule says of itself: what it asks, its source, its arithmetic, and what would make it ask.

One template a rule, ``sentences/rulebook/<rule>.txt.j2``, with the blocks ``asks``, ``source``, ``needs`` and
``steps``. A step stands on a line of its own: what it reckons, the sum, the result. Every number in a sum is
printed as the facts have it, so that a reader, and a test, can reckon it again.
"""

from __future__ import annotations

import html
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from jinja2 import TemplateNotFound

from takeup.documents.environment import slug
from takeup.documents.sentences import CODE, sentence
from takeup.documents.words import fact_value
from takeup.model import Fact

if TYPE_CHECKING:
    from jinja2 import Environment

#: rule → the facts that are its thresholds, most decisive first; of other rules the words of a row decide
THRESHOLDS: Mapping[str, tuple[str, ...]] = {
    "wear_limit": ("limit_percent",),
    "limit_in_doubt": ("limit_percent",),
    "limit_coming": ("limit_percent", "next_limit_percent", "plan_percent", "lead_days", "margin_days"),
    "takeup_low": ("trigger_mm", "joining_slack_mm"),
    "lube_overdue": ("interval_hours", "interval_days"),
    "lube_quantity": ("least_ml", "most_ml"),
    "survey_overdue": ("interval_hours",),
    "abnormal_finding": ("severity",),
    "corrosion_review": ("severity",),
    "matching": ("match_limit_points", "skew_limit_degrees"),
    "matching_in_doubt": ("match_plan_points", "match_limit_points"),
    "wide_spread": ("spread_limit_points",),
    "tape_against_takeup": ("apart_limit_points",),
    "sidebar_edge": ("loss_plan_percent", "loss_limit_percent"),
    "clearance": ("clearance_min_mm",),
    "register_loop": ("loop_limit_mm",),
    "sprocket_wear": ("depth_limit_mm",),
}


@dataclass(frozen=True)
class Step:
    """One step of the arithmetic: ``sum`` with its units, and what it comes to."""

    says: str
    sum: str
    result: str


@dataclass(frozen=True)
class Threshold:
    """A value that the answer turned on, and where it came from."""

    name: str
    value: str
    origin: str


@dataclass(frozen=True)
class Grounds:
    """What a rule says of itself, for one subject; blank for a rule of the site's own without such words."""

    asks: str
    source: str
    needs: str
    steps: tuple[Step, ...]
    thresholds: tuple[Threshold, ...]


def grounds(env: Environment, rule: str, subject: str, facts: Sequence[Fact]) -> Grounds:
    """The words of a rule and its arithmetic with one subject's facts.

    Raises
    ------
    OurFault
        If the words need a fact that is not there.
    """
    values: dict[str, Any] = {**{fact.name: fact for fact in facts}, "subject": subject}

    def part(name: str) -> str:
        return sentence(env, "rulebook", rule, values, part=name) if told else ""

    told = _has_words(env, rule)
    return Grounds(
        asks=part("asks"),
        source=part("source"),
        needs=part("needs"),
        steps=tuple(_steps(env, rule, values)) if told else (),
        thresholds=tuple(_thresholds(env, rule, facts)),
    )


def _has_words(env: Environment, rule: str) -> bool:
    try:
        env.get_template(_name(rule))
    except TemplateNotFound:
        return False
    return bool(CODE.fullmatch(slug(rule)))


def _name(rule: str) -> str:
    return f"sentences/rulebook/{slug(rule)}.txt.j2"


def _steps(env: Environment, rule: str, values: Mapping[str, Any]) -> Iterable[Step]:
    template = env.get_template(_name(rule))
    if "steps" not in template.blocks:
        return
    text = "".join(template.blocks["steps"](template.new_context(dict(values))))
    for line in html.unescape(text).splitlines():
        if line.strip():
            yield Step(*(" ".join(cell.split()) for cell in line.split("|")))


def _thresholds(env: Environment, rule: str, facts: Iterable[Fact]) -> Iterable[Threshold]:
    named = {fact.name: fact for fact in facts}
    for name in THRESHOLDS.get(rule, ()):
        if name in named:
            fact = named[name]
            yield Threshold(env.filters["word"](name, "fact"), fact_value(env, fact), fact.origin)
