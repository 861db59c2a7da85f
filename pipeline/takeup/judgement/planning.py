"""Need-by and buy-by of each strand's chain, against the planned stops of its machine."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from takeup.judgement.rule import PERCENT, numbers, rounded, words
from takeup.judgement.settings import JudgementSettings
from takeup.wear import forecast

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Columns = dict[str, Any]

#: the word for every machine in a planned stop
EVERY_MACHINE = "all"


def planning(
    strands: pd.DataFrame,
    more: Columns,
    shutdowns: pd.DataFrame,
    settings: JudgementSettings,
    as_of: ArrayLike,
) -> Columns:
    """When the work must be done and the chain ordered.

    ``order_by_day`` is the day from which the chain is asked for: the buy-by date; but below the plan line,
    and while no stop is planned beyond the early date, the early date less lead time and margin. The last
    stop *known* is no evidence that none will follow, and would otherwise ask for a chain years too soon.

    A chain whose hardened case is behind it is renewed in the next stop that takes the job. Where the early
    date of the limit beyond comes before that stop ends, or before a set can be here while no stop is known,
    the chain is ``exposed`` and the early date itself counts.

    Parameters
    ----------
    strands : DataFrame
        The state frame.
    more : dict
        Columns so far, with ``day_early`` and ``case_behind``.
    shutdowns : DataFrame
        ``shutdown``, ``machines``, ``starts_at_pos``, ``ends_at_pos``.
    settings : JudgementSettings
    as_of : int or (n,) int
        Day number; one a strand where nights are judged together.
    """
    machines, names = words(strands, "machine"), words(strands, "strand")
    lead = numbers(strands, "lead_time_days")
    lead = np.where(np.isnan(lead), settings.planning.column("lead_days", machines, names), lead)
    margin = settings.planning.column("margin_days", machines, names)
    job, job_stated = job_hours(strands, settings)
    if len(shutdowns):
        # A stop that ends before it starts takes no job.
        shutdowns = shutdowns[shutdowns["ends_at_pos"] > shutdowns["starts_at_pos"]]
    row, starts = stops_of(machines, shutdowns)
    begin, end = (
        shutdowns[name].to_numpy(dtype=np.float64)[row] if len(shutdowns) else np.array([], float)
        for name in ("starts_at_pos", "ends_at_pos")
    )
    early, reckon = more["day_early"], numbers(strands, "reckon_day")
    takes = np.where(np.isnan(job), 0.0, job)
    need, chosen = forecast.need_by(early, as_of, takes, lead, margin, begin, end, starts)
    owner = np.repeat(np.arange(len(strands)), np.diff(starts))
    day = np.broadcast_to(np.asarray(as_of), len(strands))
    fits = (begin >= day[owner]) & (24 * (end - begin) >= takes[owner] - 1e-6)
    soonest = _soonest(begin, fits, owner, len(strands))
    # The last of each is no stop: where soonest is -1.
    upcoming, upcoming_end = np.append(begin, np.nan)[soonest], np.append(end, np.nan)[soonest]
    behind = more["case_behind"]
    with np.errstate(invalid="ignore"):
        in_time = upcoming_end <= early
        late = np.where(soonest >= 0, ~in_time, early < reckon + lead + margin)
    chosen = np.where(behind, np.where(in_time, soonest, -1), chosen)
    need = np.where(behind, np.where(in_time, np.floor(upcoming), early), need)
    buy = forecast.buy_by(need, early, lead, margin)
    farthest = np.full(len(strands), -np.inf)
    np.maximum.at(farthest, owner, begin)
    with np.errstate(invalid="ignore"):
        over = rounded(more["plan_e"], PERCENT) >= rounded(more["plan_percent"], PERCENT)
        literal = over | (farthest > early)
    name = shutdowns["shutdown"].to_numpy(dtype=object) if len(shutdowns) else np.array([], object)
    name = np.append(name[row], "")
    return {
        "lead_days": lead,
        "lead_is_default": np.isnan(numbers(strands, "lead_time_days")),
        "margin_days": margin,
        "job_hours": job,
        "job_hours_stated": job_stated,
        "need_by_day": need,
        "buy_by_day": buy,
        "order_by_day": np.where(literal | behind, buy, early - lead - margin),
        "shutdown": name[chosen],
        "next_stop": name[soonest],
        "next_stop_day": np.floor(upcoming),
        "set_here_day": reckon + lead,
        "exposed": behind & ~np.isnan(early) & late,
        # None fits before the early date: it is to be raised now, whatever stop comes next.
        "at_next_stop": (chosen < 0) | ~(need > np.floor(upcoming)),
        "over_plan_line": over,
    }


def _soonest(
    begin: Floats, fits: NDArray[np.bool_], owner: NDArray[np.int64], strands: int
) -> NDArray[np.int64]:
    """The stop of each strand that begins first of those that fit, -1 for none."""
    found = np.full(strands, -1, dtype=np.int64)
    rows = np.flatnonzero(fits)
    rows = rows[np.lexsort((rows, begin[rows]))][::-1]
    found[owner[rows]] = rows  # the last writer, the soonest, stays
    return found


def job_hours(strands: pd.DataFrame, settings: JudgementSettings) -> tuple[Floats, NDArray[np.bool_]]:
    """Hours a replacement of the whole set takes: the register's, else by the metres of all its strands.

    NaN where neither is known. Beside them, whether the register states them.
    """
    machines, names = words(strands, "machine"), words(strands, "strand")
    _, whole_set = np.unique(words(strands, "set"), return_inverse=True)
    metres = numbers(strands, "pitches") * numbers(strands, "pitch_mm") / 1000
    sums = np.bincount(whole_set, weights=metres)
    stated = np.full(sums.size, -np.inf)
    hours = numbers(strands, "replacement_hours")
    np.maximum.at(stated, whole_set, np.where(np.isnan(hours), -np.inf, hours))
    base, per_m = (
        settings.planning.column(name, machines, names)
        for name in ("replacement_base_hours", "replacement_hours_per_m")
    )
    reckoned = base + per_m * sums[whole_set]
    known = np.isfinite(stated[whole_set])
    return np.where(known, stated[whole_set], reckoned), known


def stops_of(machines: NDArray[Any], shutdowns: pd.DataFrame) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows of the planned stops of each strand's machine, laid end to end, and where each strand's begin.

    Examples
    --------
    >>> import pandas as pd
    >>> stops = pd.DataFrame({"machines": ["M1; M2", "all"]})
    >>> rows, starts = stops_of(np.array(["M2", "M3"], dtype=object), stops)
    >>> rows.tolist(), starts.tolist()
    ([0, 1, 1], [0, 2, 3])
    """
    named: dict[str, list[int]] = {}
    every: list[int] = []
    for row, text in enumerate(shutdowns["machines"] if len(shutdowns) else ()):
        for machine in {part.strip() for part in text.split(";")}:
            (every if machine == EVERY_MACHINE else named.setdefault(machine, [])).append(row)
    kinds, inverse = np.unique(machines, return_inverse=True)
    lists = [np.array(sorted({*named.get(kind, ()), *every}), dtype=np.int64) for kind in kinds.tolist()]
    sizes = np.array([rows.size for rows in lists], dtype=np.int64)
    flat = np.concatenate(lists) if lists else np.array([], dtype=np.int64)
    begins = np.concatenate(([0], np.cumsum(sizes)))[:-1]
    count = sizes[inverse]
    starts = np.concatenate(([0], np.cumsum(count))).astype(np.int64)
    place = np.arange(starts[-1]) - np.repeat(starts[:-1], count) + np.repeat(begins[inverse], count)
    return flat[place], starts
