"""How long judging takes for ten thousand strands: ``python tests/benchmarks/judging.py [strands]``.

An invented fleet in pairs, twelve surveys a life, three thousand findings, five planned stops; one strand in
twenty has something due. The vector pass and the facts of what is due are timed apart.
"""

from __future__ import annotations

import sys
import time
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / "pipeline"), str(ROOT)]

from tests.judgement.plant import MONDAY, U_GEO, U_WEAR, shutdowns, strand  # noqa: E402

from takeup.judgement.answered import answered  # noqa: E402
from takeup.judgement.explaining import verdicts  # noqa: E402
from takeup.judgement.prognosis import prognosis  # noqa: E402
from takeup.judgement.rule import Situation  # noqa: E402
from takeup.judgement.rules import OWN  # noqa: E402
from takeup.judgement.settings import JudgementSettings  # noqa: E402
from takeup.wear.calibration import EMPTY_TABLE  # noqa: E402

SURVEYS = 12


def fleet(strands: int) -> SimpleNamespace:
    """The frames of an invented fleet, early in its lives."""
    draw = np.random.default_rng(20260302)
    names = np.array([f"S{number}" for number in range(strands)], dtype=object)
    state = pd.DataFrame([strand()]).loc[np.zeros(strands, dtype=int)].reset_index(drop=True)
    state = state.assign(
        strand=names,
        life_id=names + "|2025-03-01",
        machine=[f"M{number // 4}" for number in range(strands)],
        set=[f"P{number // 2}" for number in range(strands)],
        service=draw.choice(["abrasive_bulk", "clean", "light_bulk", "highly_abrasive"], strands),
        survey_rows=[[4 * number + row for row in range(4)] for number in range(strands)],
        lead_time_days=56,
    )
    hours = np.tile(np.linspace(400, 5500, SURVEYS), strands)
    rate = np.repeat(draw.uniform(0.03, 0.12, (strands + 1) // 2), 2)[:strands]
    e = np.repeat(rate, SURVEYS) * hours / 1000 + draw.normal(0, 0.01, hours.size)
    surveys = pd.DataFrame(
        {
            "life_id": np.repeat(state["life_id"].to_numpy(), SURVEYS),
            "hours": hours,
            "day": MONDAY - np.round((5500 - hours) / 16.8),
            "e_wear_mean": e,
            "e_wear_max": e,
            "e_geo_mean": e + 0.105,
            "e_geo_max": e + 0.105,
            "u_wear": U_WEAR,
            "u_geo": U_GEO,
            "usable": True,
            "usable_for_rate": True,
        }
    )
    latest = e[SURVEYS - 1 :: SURVEYS]
    for name, shift in (("e_wear_mean", 0), ("e_wear_max", 0), ("e_geo_mean", 0.105), ("e_geo_max", 0.105)):
        state[name] = latest + shift
    state["takeup_used_mm"] = np.clip(16 + latest * 36576 / 200, 0, 480)
    state["e_takeup"] = latest
    which = draw.integers(0, strands, 3000)
    words = ["side_rub", "nothing_found", "rust", "cracked_pin", "stiff_link"]
    day = MONDAY - draw.integers(0, 300, which.size)
    findings = pd.DataFrame(
        {
            "row_id": np.arange(which.size) + 10**6,
            "machine": [f"M{number // 4}" for number in which],
            "strand": names[which],
            "day": day,
            "pos": day + 0.5,
            "finding": draw.choice(words, which.size, p=[0.02, 0.72, 0.25, 0.001, 0.009]),
            "stop_class": False,
            "severity": "",
            "stated": "",
            "abnormal": True,
            "place": "",
            "remark": "",
            "raw_finding": "",
            "first_load": False,
        }
    )
    stops = shutdowns(
        *((f"SD{number}", "all", MONDAY + 60 * number, MONDAY + 60 * number + 4) for number in range(1, 6))
    )
    return SimpleNamespace(state=state, surveys=surveys, findings=findings, shutdowns=stops)


def main(strands: int) -> None:
    """Time both halves three times and print the best."""
    given, settings = fleet(strands), JudgementSettings()
    passes, facts, due = [], [], 0
    for _ in range(3):
        begun = time.perf_counter()
        grown = prognosis(
            given.state, given.surveys, given.shutdowns, given.findings, {}, EMPTY_TABLE, settings, MONDAY
        )
        situation = Situation(grown, MONDAY, surveys=given.surveys, findings=given.findings)
        told = answered(situation, settings, OWN)
        passes.append(time.perf_counter() - begun)
        begun = time.perf_counter()
        due = sum(1 for each in told for _ in verdicts(each, each.due.tolist(), situation, settings))
        facts.append(time.perf_counter() - begun)
    print(f"as of {date(2026, 3, 2)}: {strands} strands, {len(given.surveys)} surveys")
    print(f"vector pass {min(passes):.2f} s; facts of {due} due verdicts {min(facts):.2f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
