"""The yardstick: what a competent data engineer writes in an afternoon for the same exports.

    python tests/benchmarks/plain_script.py FOLDER PAGES --as-of 2026-08-31

pandas reads the files, pandera checks them, each strand is judged in a loop against one limit and one lead
time, and jinja2 writes a page for each strand that is due. Nothing is slow on purpose: surveys are a groupby,
meters are looked up with numpy, only what belongs to one strand is done in the loop. It remembers nothing,
keeps no refused row, knows no uncertainty, and reads everything again the next night.
"""

from __future__ import annotations

import argparse
import json
import resource
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pandera.pandas as pa
from jinja2 import Environment
from scipy.stats import theilslopes

LIMIT_PERCENT = 2.0
LEAD_DAYS = 112
LONGEST_SURVEY_HOURS = 1500.0
SURVEYS_IN_SLOPE = 8
EPOCH, DAY = pd.Timestamp("1970-01-01"), pd.Timedelta(days=1)

Tables = dict[str, pd.DataFrame]

_NAME = pa.Column(str, pa.Check.str_length(1, 60))
_DAY = pa.Column("datetime64[ns]", coerce=True)


def _number(low: float, high: float, *, nullable: bool = False) -> pa.Column:
    return pa.Column(float, pa.Check.in_range(low, high), nullable=nullable, coerce=True)


SCHEMAS = {
    "machines": pa.DataFrameSchema({"machine": _NAME}, unique=["machine"]),
    "strands": pa.DataFrameSchema(
        {
            "strand": _NAME,
            "machine": _NAME,
            "fitted_on": _DAY,
            "removed_on": pa.Column("datetime64[ns]", nullable=True, coerce=True),
            "pitch_mm": _number(12.5, 1200),
            "lube_interval_hours": _number(0.5, 20000, nullable=True),
        },
        unique=["strand", "fitted_on"],
    ),
    "run_hours": pa.DataFrameSchema(
        {"machine": _NAME, "read_at": _DAY, "meter_hours": _number(0, 1e7)}, unique=["machine", "read_at"]
    ),
    "elongation_readings": pa.DataFrameSchema(
        {
            "strand": _NAME,
            "measured_at": _DAY,
            "mark": pa.Column(int),
            "occasion": pa.Column(str, pa.Check.isin(["routine", "as_found", "as_left", "repeat"])),
            "pitches": _number(1, 2000),
            "length_mm": _number(5, 200000),
            "chain_temperature_c": _number(-60, 900, nullable=True),
        },
        unique=["strand", "measured_at", "mark", "occasion"],
    ),
    "takeup_readings": pa.DataFrameSchema(
        {
            "strand": _NAME,
            "measured_at": _DAY,
            "used_left_mm": _number(0, 20000),
            "used_right_mm": _number(0, 20000),
        },
        unique=["strand", "measured_at"],
    ),
    "lube_records": pa.DataFrameSchema(
        {"strand": _NAME, "done_at": _DAY, "quantity_ml": _number(0, 1e6, nullable=True)},
        unique=["strand", "done_at"],
    ),
    "inspection_findings": pa.DataFrameSchema({"seen_at": _DAY, "finding": pa.Column(str)}),
}
MOMENTS = ("fitted_on", "removed_on", "read_at", "measured_at", "done_at", "seen_at")

PAGE = Environment(autoescape=True).from_string(
    """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>{{ due.strand }}</title></head>
<body>
<h1>{{ due.strand }} on {{ due.machine }}</h1>
<ul>{% for job in due.jobs %}<li>{{ job }}</li>{% endfor %}</ul>
<p>Elongation {{ "%.2f" | format(due.percent) }} %, rate {{ "%.3f" | format(due.rate) }} % per 1000 h,
limit {{ limit }} % in {{ "%.0f" | format(due.days_left) }} days.</p>
<table><tr><th>measured</th><th>hours</th><th>elongation, %</th></tr>
{% for day, hours, percent in due.surveys %}<tr><td>{{ day }}</td><td>{{ "%.0f" | format(hours) }}</td>
<td>{{ "%.2f" | format(percent) }}</td></tr>
{% endfor %}</table>
</body></html>
"""
)


@dataclass(frozen=True)
class Due:
    """A strand that something has to be done to."""

    strand: str
    machine: str
    jobs: list[str]
    percent: float
    rate: float
    days_left: float
    surveys: list[tuple[str, float, float]]


def intake(folder: Path) -> Tables:
    """Every feed, read and checked."""
    tables = {}
    for feed, schema in SCHEMAS.items():
        read = [pd.read_csv(path) for path in sorted(folder.glob(f"{feed}*.csv"))]
        table = pd.concat(read, ignore_index=True)
        for column in table.columns.intersection(MOMENTS):
            table[column] = pd.to_datetime(table[column], format="ISO8601")
        tables[feed] = schema.validate(table, lazy=True)
    return tables


def judge(tables: Tables, as_of: pd.Timestamp) -> list[Due]:
    """The strands that are due, one after the other."""
    strands = tables["strands"]
    current = strands[strands["removed_on"].isna()].set_index("strand")
    chains = current[["machine", "lube_interval_hours"]].to_dict("index")
    surveys = _surveys(tables["elongation_readings"], current)
    meters = {
        machine: (_days(told["read_at"]).to_numpy(), told["meter_hours"].to_numpy())
        for machine, told in tables["run_hours"].sort_values("read_at").groupby("machine")
    }
    oiled = _days(tables["lube_records"].groupby("strand")["done_at"].max()).to_dict()
    now = (as_of - EPOCH) / DAY + 1
    due = []
    for strand, told in surveys.groupby("strand"):
        chain = chains[strand]
        days, hours = meters[chain["machine"]]
        ran = np.interp(told["day"].to_numpy(), days, hours)
        percent = told["percent"].to_numpy()
        today, before = np.interp([now, now - 90], days, hours)
        recent = slice(-SURVEYS_IN_SLOPE, None)
        rate = theilslopes(percent[recent], ran[recent]).slope if len(ran) > 2 else np.nan
        hours_left = (LIMIT_PERCENT - percent[-1]) / rate - (today - ran[-1]) if rate > 0 else np.inf
        days_left = hours_left / ((today - before) / 90) if today > before else np.inf
        jobs = []
        if percent[-1] >= LIMIT_PERCENT:
            jobs.append("replace the chain: the limit is reached")
        elif days_left < LEAD_DAYS:
            jobs.append("order the chain: the limit is coming")
        if today - ran[-1] > LONGEST_SURVEY_HOURS:
            jobs.append("measure the chain")
        if strand in oiled and today - np.interp(oiled[strand], days, hours) > chain["lube_interval_hours"]:
            jobs.append("lubricate the chain")
        if jobs:
            shown = list(zip(told["measured_at"].dt.strftime("%Y-%m-%d"), ran, percent, strict=True))
            due.append(Due(strand, chain["machine"], jobs, percent[-1], 1000 * rate, days_left, shown))
    return due


def _days(moments: pd.Series) -> pd.Series:
    """Moments as days since 1970-01-01."""
    return (moments - EPOCH) / DAY


def _surveys(readings: pd.DataFrame, current: pd.DataFrame) -> pd.DataFrame:
    """Mean elongation of each survey of the chains in service, from the chain as fitted."""
    spans = readings.join(current[["fitted_on", "pitch_mm"]], on="strand")
    spans = spans[(spans["measured_at"] >= spans["fitted_on"]) & (spans["occasion"] != "as_found")]
    spans["ratio"] = spans["length_mm"] / (spans["pitches"] * spans["pitch_mm"])
    surveys = spans.groupby(["strand", "measured_at"], as_index=False)["ratio"].mean()
    first = surveys.groupby("strand")["ratio"].transform("first")
    surveys["percent"] = 100 * (surveys["ratio"] - first)
    surveys["day"] = _days(surveys["measured_at"]) + 0.5
    return surveys


def pages(due: list[Due], folder: Path) -> None:
    """One page a strand."""
    folder.mkdir(parents=True, exist_ok=True)
    for strand in due:
        text = PAGE.render(due=strand, limit=LIMIT_PERCENT)
        (folder / f"{strand.strand}.html").write_text(text, encoding="utf-8")


def main() -> None:
    """Run once, and say as JSON how long each part took, by the clock and of the processor."""
    parser = argparse.ArgumentParser(description="The yardstick: one plain script for the same exports.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("pages", type=Path)
    parser.add_argument("--as-of", type=pd.Timestamp, required=True)
    given = parser.parse_args()
    stages: dict[str, tuple[float, float]] = {}
    last = (time.perf_counter(), time.process_time())

    def reached(stage: str) -> None:
        nonlocal last
        now = (time.perf_counter(), time.process_time())
        stages[stage] = (now[0] - last[0], now[1] - last[1])
        last = now

    tables = intake(given.folder)
    reached("intake")
    due = judge(tables, given.as_of)
    reached("judging")
    pages(due, given.pages)
    reached("pages")
    told = {
        "stages": stages,
        "counts": {"rows": sum(map(len, tables.values())), "due": len(due)},
        "peak_kb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss,
    }
    print(json.dumps(told))


if __name__ == "__main__":
    main()
