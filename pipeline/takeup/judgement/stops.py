"""What changing a set in each of its candidate stops may cost. It informs the planner and decides nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from takeup.judgement.limits import LIMITS
from takeup.judgement.planning import stops_of
from takeup.judgement.rates import TWO_ENDS
from takeup.judgement.rule import HOURS, Row
from takeup.wear.forecast import doubt_hours
from takeup.wear.lifecost import chance_before, change_cost, stop_costs

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

_EPOCH = date(1970, 1, 1)
#: a stop this likely to come too late is the last one told: a later one can only be dearer
_TOO_LATE = 0.95


@dataclass(frozen=True)
class StopLine:
    """One candidate stop; ``shutdown`` is blank for a stop of its own at the early date.

    ``stop_cost`` is what the stop costs, or the chance that it comes too late times an unplanned one;
    ``before_delivery``: a set ordered on the table's day would not be here.
    """

    shutdown: str
    starts_on: date
    ends_on: date | None
    chance: float
    stop_cost: float
    hours_thrown_away: float
    thrown_away_cost: float
    expected_cost: float
    before_delivery: bool


@dataclass(frozen=True)
class StopTable:
    """The candidate stops of a set, by the strand whose early date is nearest.

    ``missing`` are the register columns wanted for it, ``passed`` says that the last survey is at the limit
    already; both leave ``lines`` empty. Costs in the register's money; ``sprockets_cost`` is what the chains
    use up of the price of their sprockets, None where the register does not say so of every strand.
    """

    strand: str
    limit: str
    limit_kind: str
    lines: tuple[StopLine, ...] = ()
    missing: tuple[str, ...] = ()
    passed: bool = False
    chains: int = 0
    chains_cost: float | None = None
    sprockets_cost: float | None = None
    labour_cost: float | None = None
    stop_hours: float | None = None
    stop_cost_per_hour: float | None = None
    life_hours: float | None = None
    ordered_on: date | None = None
    arrives_on: date | None = None

    def line(self, shutdown: str) -> StopLine | None:
        """The line of a planned stop, or that of a stop of its own for a blank name."""
        return next((line for line in self.lines if line.shutdown == shutdown), None)

    @property
    def cheapest(self) -> StopLine | None:
        """The line of the least expected cost, the earliest of equals.

        Past a limit of strength a chain may break under load: there no stop after the early date is weighed.
        """
        own = self.line("")
        lines = [
            line
            for line in self.lines
            if self.limit_kind != "strength" or own is None or line.starts_on <= own.starts_on
        ]
        return min(lines, key=lambda line: (line.expected_cost, line.starts_on), default=None)


def stop_table(strands: Sequence[Row], shutdowns: pd.DataFrame, as_of: int) -> StopTable | None:
    """The candidate stops of one set: every planned stop ahead that takes the job, and one of its own.

    The chance comes from the dates printed with the forecast: run hours until a stop go at the expected pace,
    and the early bound is brought to that pace, so that the early date stands at 5 %. Source: proposed for
    this project, no source; see :func:`takeup.wear.lifecost.chance_before`.

    Parameters
    ----------
    strands : sequence of mapping
        Rows of the prognosis, those of one set.
    shutdowns : DataFrame
        ``shutdown``, ``machines``, ``starts_at_pos``, ``ends_at_pos``.
    as_of : int
        Day number; stops that began before it are no candidates.

    Returns
    -------
    StopTable or None
        None where no strand has a forecast with dates.
    """
    told = [row for row in strands if np.isfinite([row["day_early"], row["day_middle"]]).all()]
    if not told:
        return None
    lead = min(told, key=lambda row: (row["day_early"], row["day_middle"], row["strand"]))
    kind = LIMITS[lead["ahead_limit"]][0]
    passed = bool(lead["hours_middle"] <= 0)
    missing = () if passed else _missing(strands, lead)
    if passed or missing:
        return StopTable(lead["strand"], lead["ahead_limit"], kind, missing=missing, passed=passed)
    chains = float(sum(row["chain_price"] for row in strands))
    shares = [row["sprocket_share_cost"] for row in strands]
    sprockets = float(sum(shares)) if all(_known(share) for share in shares) else None
    labour = max(row["replacement_labour_cost"] for row in strands if _known(row["replacement_labour_cost"]))
    job, per_hour = round(float(lead["job_hours"]), HOURS), float(lead["stop_cost_per_hour"])
    names, begins, ends = _candidates(lead, shutdowns, as_of)
    reckon, since = int(lead["reckon_day"]), lead["hours_reckoned"] - lead["survey_hours"]
    run = since + (np.floor(begins) - reckon) * lead["h_middle"]
    early = lead["hours_early"]
    if early > since:
        early = since + (early - since) * lead["h_middle"] / lead["h_early"]
    doubt = doubt_hours(TWO_ENDS * lead["u_geo"], lead["rate"])
    chance = chance_before(run, early, lead["hours_middle"], lead["hours_late"], doubt)
    unplanned = float(change_cost(0.0, job, per_hour))
    life = lead["survey_hours"] + lead["hours_middle"]
    own = np.array([not name for name in names])
    found = stop_costs(
        chance,
        run,
        lead["hours_middle"],
        life,
        chains + (sprockets or 0.0) + labour,
        np.where(own, unplanned, 0.0),
        unplanned,
    )
    arrives = reckon + int(lead["lead_days"])
    # In whole money first, so that a reader can add up a line.
    stop, thrown = np.round(found.stop + found.unplanned), np.round(found.thrown_away)
    lines = [
        StopLine(
            shutdown=name,
            starts_on=_day(begins[at]),
            ends_on=None if own[at] else _day(ends[at]),
            chance=round(float(found.chance[at]), 3),
            stop_cost=float(stop[at]),
            hours_thrown_away=float(np.round(max(lead["hours_middle"] - max(run[at], 0.0), 0.0))),
            thrown_away_cost=float(thrown[at]),
            expected_cost=float(stop[at] + thrown[at]),
            before_delivery=bool(begins[at] < arrives),
        )
        for at, name in enumerate(names)
    ]
    return StopTable(
        strand=lead["strand"],
        limit=lead["ahead_limit"],
        limit_kind=kind,
        lines=_worth_telling(lines),
        chains=len(strands),
        chains_cost=chains,
        sprockets_cost=sprockets,
        labour_cost=float(labour),
        stop_hours=job,
        stop_cost_per_hour=per_hour,
        life_hours=float(np.round(life)),
        ordered_on=_day(reckon),
        arrives_on=_day(arrives),
    )


def _missing(strands: Sequence[Row], lead: Row) -> tuple[str, ...]:
    """The register columns without which no cost can be told."""
    wanted = {
        "chain_price": all(_known(row["chain_price"]) for row in strands),
        "replacement_labour_cost": any(_known(row["replacement_labour_cost"]) for row in strands),
        "stop_cost_per_hour": _known(lead["stop_cost_per_hour"]),
        "replacement_hours": _known(lead["job_hours"]),
    }
    return tuple(name for name, is_there in wanted.items() if not is_there)


def _candidates(
    lead: Row, shutdowns: pd.DataFrame, as_of: int
) -> tuple[list[str], NDArray[np.float64], NDArray[np.float64]]:
    """Names, begins and ends of the stops by their begin; that of its own has no name and no end."""
    rows, _ = stops_of(np.array([lead["machine"]], dtype=object), shutdowns)
    stops = [("", float(max(lead["day_early"], lead["reckon_day"])), np.nan)]
    for row in rows.tolist():
        begin, end = (float(shutdowns[name].iloc[row]) for name in ("starts_at_pos", "ends_at_pos"))
        if begin >= as_of and 24 * (end - begin) >= lead["job_hours"] - 1e-6:
            stops.append((str(shutdowns["shutdown"].iloc[row]), begin, end))
    stops.sort(key=lambda stop: (stop[1], stop[0]))
    begins, ends = (np.array([stop[at] for stop in stops], dtype=np.float64) for at in (1, 2))
    return [name for name, _, _ in stops], begins, ends


def _worth_telling(lines: Sequence[StopLine]) -> tuple[StopLine, ...]:
    """The stops up to the first that is almost sure to come too late, and the one of its own."""
    planned = [line for line in lines if line.shutdown]
    last = next((line.starts_on for line in planned if line.chance >= _TOO_LATE), date.max)
    return tuple(line for line in lines if not line.shutdown or line.starts_on <= last)


def _known(value: float | None) -> bool:
    return value is not None and not np.isnan(value)


def _day(number: float) -> date:
    return _EPOCH + timedelta(days=int(number))
