"""The rows behind a verdict: by the part they play, and as one whole number.

The number changes when the rows that a verdict *turns on* do, and never by the day: orders are withdrawn and
done jobs speak again by it. What is shown beside them (the baseline, the surveys of the rate, the meter)
supports the arithmetic and is left out of it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import chain
from math import isnan
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from takeup.derive.state import METER_ROWS
from takeup.model import Evidence

if TYPE_CHECKING:
    import pandas as pd

    from takeup.judgement.rule import Rule, Situation

Keys = NDArray[np.int64]

#: odd multipliers of SplitMix64. Source: G. Steele, D. Lea, C. Flood 2014, from memory, unverified
_ONE, _TWO, _STEP = (
    np.uint64(0xBF58476D1CE4E5B9),
    np.uint64(0x94D049BB133111EB),
    np.uint64(0x9E3779B97F4A7C15),
)


def mixed(*parts: ArrayLike) -> Keys:
    """Whole numbers mixed into one, element by element; the order of the parts counts.

    Examples
    --------
    >>> a, b = mixed([1, 2], [3, 3]), mixed([1, 2], [3, 4])
    >>> (a == b).tolist()
    [True, False]
    """
    with np.errstate(over="ignore"):
        key: NDArray[np.uint64] = np.zeros(np.shape(parts[0]), dtype=np.uint64)
        for part in parts:
            key = (key + _STEP) ^ np.asarray(part, dtype=np.int64).astype(np.uint64)
            key = (key ^ (key >> np.uint64(30))) * _ONE
            key = (key ^ (key >> np.uint64(27))) * _TWO
            key ^= key >> np.uint64(31)
    return np.asarray(key, dtype=np.int64)


def keys(column: pd.Series[Any]) -> Keys:
    """A key a row from a column of row ids: a number, or a list of numbers, blank for none."""
    if column.dtype != object:
        numbers = column.to_numpy(dtype=np.float64)
        return np.asarray(np.where(np.isnan(numbers), -1.0, numbers), dtype=np.int64)
    lists = [value if isinstance(value, list | tuple) else () for value in column]
    sizes = np.fromiter(map(len, lists), dtype=np.int64, count=len(lists))
    flat = np.fromiter(chain.from_iterable(lists), dtype=np.int64, count=int(sizes.sum()))
    total = np.zeros(len(lists), dtype=np.int64)
    # Rows of one survey have no order: their mixtures are added.
    np.add.at(total, np.repeat(np.arange(len(lists)), sizes), mixed(flat))
    return total


#: the parts rows play, in the order in which they are told
PARTS = (
    "register",
    "survey",
    "baseline",
    "rate",
    "takeup",
    "meter",
    "lube",
    "lag",
    "check",
    "gauged",
    "other",
    "stop",
    "life",
)

#: column that holds row ids → the part they play; of any other column it is ``other``
PART_OF: Mapping[str, str] = {
    "strand_row": "register",
    "strand_rows": "register",
    "machine_row": "register",
    "source_rows": "register",
    "survey_rows": "survey",
    "takeup_row": "takeup",
    "lube_row": "lube",
    "lag_row": "lag",
    "check_row": "check",
    "sidebar_rows": "gauged",
    "clearance_rows": "gauged",
}


def evidence(
    rule: Rule, row: Mapping[str, Any], situation: Situation, meter_rows: Iterable[int] = ()
) -> tuple[Evidence, ...]:
    """The rows behind one answer by the part they play, each row under its first part.

    Parameters
    ----------
    rule : Rule
    row : mapping
        The rule's row over its strand's.
    situation : Situation
    meter_rows : iterable of int, optional
        Further meter readings.
    """
    found: defaultdict[str, list[int]] = defaultdict(list, meter=list(meter_rows))
    for name in (*rule.evidence, *rule.beside):
        if name in LOOKED_UP:
            found[name] += LOOKED_UP[name](row, situation)
        else:
            found[PART_OF.get(name, "other")] += _listed(row.get(name))
    told: set[int] = set()
    parts = []
    for part in PARTS:
        rows = {each for each in found[part] if each >= 0} - told
        told |= rows
        if rows:
            parts.append(Evidence(part, tuple(sorted(rows))))
    return tuple(parts)


def by_part(evidence: Iterable[Evidence]) -> dict[str, tuple[int, ...]]:
    """The rows of each part that several verdicts tell, in the order of :data:`PARTS`."""
    found: defaultdict[str, set[int]] = defaultdict(set)
    for each in evidence:
        found[each.part].update(each.rows)
    order = sorted(found, key=lambda part: PARTS.index(part) if part in PARTS else len(PARTS))
    return {part: tuple(sorted(found[part])) for part in order}


def _baseline(row: Mapping[str, Any], situation: Situation) -> Iterator[int]:
    """The rows of the survey that gave the life its zero."""
    for is_zero, rows in situation.surveys_of(row.get("life_id", ""), "is_zero", "row_ids"):
        if is_zero:
            yield from _listed(rows)


def _rate(row: Mapping[str, Any], situation: Situation) -> Iterator[int]:
    """The rows of the surveys that the rate took, and of those past the case that are told beside it."""
    first, last = row.get("rate_from_hours", np.nan), row.get("rate_to_hours", np.nan)
    since = row.get("since_case_from_hours", np.nan)
    told = situation.surveys_of(row.get("life_id", ""), "usable_for_rate", "hours", "row_ids")
    for usable, hours, rows in told:
        if usable and (first <= hours <= last or since <= hours):
            yield from _listed(rows)


def _meter(row: Mapping[str, Any], situation: Situation) -> Iterator[int]:  # noqa: ARG001
    """The meter readings between which hours and utilisation were reckoned."""
    for name in METER_ROWS:
        yield from _listed(row.get(name))


def _listed(found: Any) -> list[int]:
    listed = found if isinstance(found, list | tuple) else [found]
    return [int(value) for value in listed if value is not None and not isnan(value)]


#: part → rows of a strand that are looked up only for an answer that is told
LOOKED_UP: Mapping[str, Callable[[Mapping[str, Any], Situation], Iterator[int]]] = {
    "baseline": _baseline,
    "rate": _rate,
    "meter": _meter,
}

#: what most answers about wear rest on beside their own rows
BEHIND_WEAR = ("baseline", "rate", "meter", "machine_row")
