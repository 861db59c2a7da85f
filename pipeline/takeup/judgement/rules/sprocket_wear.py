"""A hooked tooth holds the chain too long and hammers new bushings: reverse or renew it with the chain.

Due when the gauge depth on the working face reaches a part (0.10) of the diameter of what meets the tooth. A
tooth within it is gauged again, with the next survey, when the gauging is old.
Source: common practice, no source; out-of-pitch sprockets wear new chain fast: MIL-HDBK-1164, p. 236.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from takeup.judgement import reads
from takeup.judgement.facts import GAUGED, REGISTER, setting_fact
from takeup.judgement.facts import facts as facts_of
from takeup.judgement.gauging import age, age_facts, aged
from takeup.judgement.rule import (
    CANNOT,
    CLEAR,
    MM,
    NEXT_SHUTDOWN,
    PLAN,
    Row,
    Rule,
    Situation,
    answers,
    choose,
    numbers,
    rounded,
    words,
    yes,
)
from takeup.judgement.settings import JudgementSettings
from takeup.judgement.sprockets import in_order, mesh_diameter, on_rollers, standing
from takeup.model import Fact, Job


def judge(situation: Situation, settings: JudgementSettings) -> pd.DataFrame:
    """The worst sprocket of each strand, or of each machine where the check names no strand."""
    checks = _latest(situation)
    strands = situation.strands
    at = pd.Index(words(strands, "strand")).get_indexer(words(checks, "strand"))
    machines, first = np.unique(words(strands, "machine"), return_index=True)
    of_machine = pd.Series(first, index=machines).reindex(words(checks, "machine")).to_numpy(float)
    whose = np.where(at >= 0, at, np.where(np.isnan(of_machine), -1, of_machine)).astype(np.int64)
    checks = checks[whose >= 0].reset_index(drop=True)
    at, whose = at[whose >= 0], whose[whose >= 0]
    roller, diameter = on_rollers(strands)[whose], mesh_diameter(strands)[whose]
    part = settings.findings.column(
        "tooth_wear_part", words(strands, "machine")[whose], words(strands, "strand")[whose]
    )
    depth, limit = rounded(numbers(checks, "gauge_depth_mm"), MM), rounded(part * diameter, MM)
    margin = rounded(limit - depth, MM)
    running = strands.iloc[whose]
    since = age(running, numbers(checks, "machine_hours") - numbers(running, "hours_at_fitting"), settings)
    case = choose(
        (np.isnan(margin), "no_diameter"),
        (margin <= 0, "tooth_worn"),
        (since.old, "tooth_old"),
        otherwise="tooth_sound",
    )
    by_strand = at >= 0
    frame = answers(
        checks.assign(machine=words(strands, "machine")[whose]),
        case,
        subject_kind="strand",
        subject=np.where(by_strand, words(checks, "strand"), words(checks, "machine")),
        value=depth,
        threshold=limit,
        margin=margin,
        unit="mm",
        at=whose,
        sprocket=words(checks, "sprocket"),
        checked_day=numbers(checks, "checked_at_day"),
        turned=yes(checks, "reversed"),
        mesh_diameter=diameter,
        meshes_on=np.where(roller, "roller", "barrel"),
        check_row=numbers(checks, "row_id"),
        job=np.where(case == "tooth_old", Job.MEASURE.value, "").astype(object),
        hours_since=since.hours,
        points_since=since.points,
    )
    frame["subject_kind"] = np.where(by_strand, "strand", "machine")
    gravest = np.where(case == "tooth_worn", 0, np.where(case == "tooth_old", 1, 2))
    worst = np.lexsort((words(checks, "sprocket"), np.where(np.isnan(margin), np.inf, margin), gravest))
    return (
        frame.iloc[worst]
        .drop_duplicates(["subject_kind", "subject"])
        .sort_values(["subject_kind", "subject"], kind="stable")
        .reset_index(drop=True)
    )


def _latest(situation: Situation) -> pd.DataFrame:
    """The newest gauging of every sprocket, of the face that works now."""
    checks = situation.sprockets
    if not len(checks):
        names = ("machine", "sprocket", "strand", "gauge_depth_mm", "checked_at_day", "reversed", "row_id")
        return pd.DataFrame({name: pd.Series(dtype=object) for name in (*names, "machine_hours")})
    ordered = in_order(checks)
    gauged = ordered[standing(ordered)]
    return gauged.drop_duplicates(["machine", "sprocket"], keep="last").reset_index(drop=True)


def facts(row: Row, settings: JudgementSettings) -> tuple[Fact, ...]:
    """Depth, limit and the sprocket."""
    told = facts_of(
        {
            "sprocket": row["sprocket"],
            "depth_mm": row["value"],
            "checked_on": row["checked_day"],
            "turned": bool(row["turned"]),
        },
        GAUGED,
    ) + facts_of({"meshes_on": row["meshes_on"], "mesh_diameter_mm": row["mesh_diameter"]}, REGISTER)
    if row["case"] == "no_diameter":
        name = "roller_diameter_mm" if row["meshes_on"] == "roller" else "bushing_outside_mm"
        return told + facts_of({"missing": (name,)}, REGISTER)
    of = "of the diameter that meets the tooth"
    limit = setting_fact("depth_limit_mm", settings.findings, "tooth_wear_part", row, row["threshold"], of)
    return (*told, limit, *(age_facts(row, settings) if row["case"] == "tooth_old" else ()))


RULE = Rule(
    name="sprocket_wear",
    job=Job.SPROCKETS,
    outcomes={
        "tooth_worn": NEXT_SHUTDOWN,
        "tooth_old": PLAN,
        "tooth_sound": CLEAR,
        "no_diameter": CANNOT,
    },
    judge=judge,
    facts=facts,
    evidence=("check_row",),
    beside=("strand_row",),
    reads=(aged, reads.of("findings", "tooth_wear_part")),
)
