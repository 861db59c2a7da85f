"""When a strand wants lubricant, and whether what it got was enough.

The clock runs on run hours, because wear does. Only chain with a plan is asked about: chain kept dry by
decision never comes here.
"""

from __future__ import annotations

from enum import IntEnum
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from takeup.wear.arguments import Array, Flags, Whole, numbers, offsets

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

#: hours and millilitres are held to their thousandth before they are summed or compared
_STEPS = 1000.0


def joint_volume(bore_mm: ArrayLike, pin_mm: ArrayLike, length_mm: ArrayLike) -> Array:
    """Lubricant that fills one joint: pi/4 (D_b^2 - d_p^2) l. Source: definition, the gap of pin and bushing.

    Parameters
    ----------
    bore_mm, pin_mm : (n,) float
        Bore of the bushing and outside of the pin, more than 0; the bore not less than the pin. [mm]
    length_mm : (n,) float
        Of the bearing, more than 0. [mm]

    Returns
    -------
    (n,) float
        [mL]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    One joint, and 240 of them:

    >>> joint_volume([32.15], [31.75], [80.0]).round(3).tolist()
    [1.606]
    >>> (240 * joint_volume([32.15], [31.75], [80.0])).round(0).tolist()
    [385.0]
    """
    bore, pin = numbers(bore_mm, "bore_mm", above=0), numbers(pin_mm, "pin_mm", above=0)
    gap_mm2 = np.pi / 4.0 * numbers(bore**2 - pin**2, "bore_mm less pin_mm", at_least=0)
    return gap_mm2 * numbers(length_mm, "length_mm", above=0) / 1000.0


def film_volume(pitches: ArrayLike, *, edges: ArrayLike, drop_ml: ArrayLike) -> Array:
    """Lubricant for a film by brush or drip: one drop an edge of the sidebars and a pitch.

    Source: derived; the drop of 0.05 mL common practice, no source.

    Parameters
    ----------
    pitches : (n,) int
        0 or more.
    edges : int or (n,) int
        Sidebar edges a pitch; 4 on two sidebars.
    drop_ml : float or (n,) float
        [mL]

    Returns
    -------
    (n,) float
        [mL]

    Raises
    ------
    WearInputError
        If a known value is negative.

    Examples
    --------
    >>> film_volume([240], edges=4, drop_ml=0.05).round(1).tolist()
    [48.0]
    """
    drops = numbers(pitches, "pitches", at_least=0) * numbers(edges, "edges", at_least=0)
    return drops * numbers(drop_ml, "drop_ml", at_least=0)


def within_interval(hours: ArrayLike, starts: ArrayLike, interval_hours: ArrayLike) -> Whole:
    """The first record of the interval that ends with each record: that one and those after it are summed.

    A record a whole interval earlier is out. Hours are held to their thousandth, so that the last bit of a
    float puts no record in or out. Source: proposed for this project, no source.

    Parameters
    ----------
    hours : (n,) float
        Run hours at each record, rising within a strand, strands laid end to end. [h]
    starts : (m+1,) int
        Where each strand's records begin, then n.
    interval_hours : (m,) float
        NaN where not known: then each record stands by itself, as one of unknown hours does. [h]

    Returns
    -------
    (n,) int
        Places.

    Raises
    ------
    WearInputError
        If an interval is negative or the offsets do not fit.

    Examples
    --------
    >>> within_interval([0, 40, 80, 120, 220], [0, 5], [100]).tolist()
    [0, 0, 0, 1, 4]
    """
    bounds = offsets(starts, np.size(hours))
    strand = np.repeat(np.arange(bounds.size - 1), np.diff(bounds))
    interval = np.broadcast_to(numbers(interval_hours, "interval_hours", at_least=0), (bounds.size - 1,))
    when = np.round(_STEPS * numbers(hours, "hours"))
    earliest = when - np.round(_STEPS * interval[strand])
    place = np.arange(when.size)
    # Records and the ends of their intervals in one order: a record no later than an end stands before it.
    order = np.lexsort(
        (np.repeat([0, 1], when.size), np.concatenate((when, earliest)), np.concatenate((strand, strand)))
    )
    passed = np.cumsum(order < when.size)
    first = np.empty(when.size, dtype=np.int64)
    ends = order >= when.size
    first[order[ends] - when.size] = passed[ends]
    return np.where(np.isnan(earliest), place, np.minimum(first, place))


def resets_clock(
    hours: ArrayLike,
    quantity_ml: ArrayLike,
    starts: ArrayLike,
    *,
    plan_ml: ArrayLike,
    interval_hours: ArrayLike,
    least_share: ArrayLike,
) -> tuple[Flags, Array]:
    """Which records of a strand count as a lubrication done.

    The quantities within one interval are summed, from the first after the last record that counted. A record
    counts when the sum reaches the least share of the plan; when it has no quantity (done, with low
    confidence); and without a plan when the sum is above 0. Source: proposed for this project, no source.

    Parameters
    ----------
    hours, starts, interval_hours
        As in :func:`within_interval`.
    quantity_ml : (n,) float
        NaN where blank, which is not 0; held to the thousandth. [mL]
    plan_ml : (m,) float
        NaN without a planned quantity. [mL]
    least_share : float or (m,) float
        Of the plan.

    Returns
    -------
    counts : (n,) bool
    sum_ml : (n,) float
        The sum each record reached, NaN where its quantity is blank. [mL]

    Raises
    ------
    WearInputError
        If a known value is negative or the offsets do not fit.

    Examples
    --------
    A plan of 48 mL every 100 h; two small ones make one, nought and a late little do not:

    >>> counts, sums = resets_clock([0, 100, 150, 250, 400, 480], [48, 15, 15, 0, 10, np.nan], [0, 6],
    ...                             plan_ml=[48], interval_hours=[100], least_share=0.5)
    >>> counts.tolist(), sums.tolist()
    ([True, False, True, False, False, True], [48.0, 15.0, 30.0, 0.0, 10.0, nan])
    """
    first = within_interval(hours, starts, interval_hours)
    amount, blank = _amounts(quantity_ml)
    bounds = offsets(starts, amount.size)
    lengths = np.diff(bounds)
    share = numbers(least_share, "least_share", at_least=0)
    wanted = np.round(
        _STEPS * np.broadcast_to(share * numbers(plan_ml, "plan_ml", at_least=0), lengths.shape)
    )
    wanted = np.repeat(np.where(np.isnan(wanted), 0.0, wanted), lengths)
    until = np.concatenate(([0], np.cumsum(amount)))

    alone = blank | ((amount > 0) & (amount >= wanted))
    # Where a sum begins follows from the records before it. One that counts by itself always ends a sum, so
    # only the runs of small ones between are told record by record, over all runs at once.
    begins = np.ones(amount.shape, dtype=bool)
    begins[1:] = alone[:-1]
    begins[bounds[:-1][lengths > 0]] = True
    begin = np.flatnonzero(begins)
    length = np.diff(begin, append=amount.size)
    counts, sums, since = alone.copy(), np.zeros(amount.shape, dtype=np.int64), begin.copy()
    for turn in range(int(length.max(initial=0))):
        run = np.flatnonzero(length > turn)
        record = begin[run] + turn
        sums[record] = until[record + 1] - until[np.maximum(first[record], since[run])]
        counts[record] |= (sums[record] > 0) & (sums[record] >= wanted[record])
        done = counts[record]
        since[run[done]] = record[done] + 1
    return counts, np.where(blank, np.nan, sums / _STEPS)


class Given(NamedTuple):
    """Lubricant given in the round that ends with each record; see :func:`given_in_round`."""

    ml: Array
    some_blank: Flags
    first: Whole


def given_in_round(
    hours: ArrayLike,
    quantity_ml: ArrayLike,
    starts: ArrayLike,
    *,
    counts: ArrayLike,
    interval_hours: ArrayLike,
    round_share: ArrayLike,
) -> Given:
    """Lubricant given in the round that ends with each record, to hold against the plan.

    The records within one interval are summed. But whoever lubricates a little before the interval is over
    has two rounds within one: the first record of the interval that counted is the round before, and left
    out, where it is further back than some share of the interval. Source: proposed for this project, no
    source.

    Parameters
    ----------
    hours, quantity_ml, starts, interval_hours
        As in :func:`resets_clock`.
    counts : (n,) bool
        From :func:`resets_clock`.
    round_share : float or (m,) float
        Of the interval.

    Returns
    -------
    Given
        The sum, in which a blank quantity counts as 0, so at least so much; NaN where every quantity of the
        round is blank [mL]. Whether one is. And the place of the round's first record.

    Raises
    ------
    WearInputError
        If a known value is negative or the offsets do not fit.

    Examples
    --------
    Every 80 of 100 h is one round each; after 20 h more it is the same one:

    >>> given = given_in_round([0, 80, 160, 180], [48, 50, 52, np.nan], [0, 4], counts=[True] * 4,
    ...                        interval_hours=[100], round_share=0.5)
    >>> given.ml.tolist(), given.some_blank.tolist()
    ([48.0, 50.0, 52.0, 52.0], [False, False, False, True])
    """
    first = within_interval(hours, starts, interval_hours)
    amount, blank = _amounts(quantity_ml)
    bounds = offsets(starts, amount.size)
    lengths = np.diff(bounds)
    share = np.broadcast_to(numbers(round_share, "round_share", at_least=0), lengths.shape)
    interval = np.broadcast_to(numbers(interval_hours, "interval_hours", at_least=0), lengths.shape)
    back = np.repeat(np.round(_STEPS * share * interval), lengths)
    when, place = np.round(_STEPS * numbers(hours, "hours")), np.arange(amount.size)

    counted = np.where(np.asarray(counts, dtype=bool), place, amount.size)
    opened = np.minimum.accumulate(counted[::-1])[::-1][first]  # the first that counted from there on
    before = opened < place
    before[before] = (when[place] - when[np.minimum(opened, place)] > back)[before]
    first = np.where(before, opened + 1, first)

    until, blanks = (np.concatenate(([0], np.cumsum(each))) for each in (amount, blank))
    n_blank = blanks[place + 1] - blanks[first]
    given = (until[place + 1] - until[first]) / _STEPS
    return Given(np.where(n_blank == place + 1 - first, np.nan, given), n_blank > 0, first)


def _amounts(quantity_ml: ArrayLike) -> tuple[Whole, Flags]:
    """Quantities in whole thousandths of a millilitre, whose sums are exact, and which of them are blank."""
    quantity = numbers(quantity_ml, "quantity_ml", at_least=0)
    blank = np.isnan(quantity)
    return np.where(blank, 0, np.round(_STEPS * np.where(blank, 0.0, quantity))).astype(np.int64), blank


class LubeClock(IntEnum):
    """Where a strand stands on its lubrication interval."""

    UNKNOWN = -1
    CLEAR = 0
    DUE = 1
    """The interval has gone by."""
    OVERDUE = 2
    """The grace has gone by too."""
    STARVED = 3
    """So many intervals without lubricant that the joints run dry."""


class LubeTurns(NamedTuple):
    """Run hours at which the answer changes; see :func:`lube_turns`."""

    due: Array
    overdue: Array
    starved: Array


def lube_turns(
    last_hours: ArrayLike,
    interval_hours: ArrayLike,
    *,
    grace_share: ArrayLike,
    starved_intervals: ArrayLike,
) -> LubeTurns:
    """Run hours at which a strand becomes due, overdue and starved.

    h + I; h + I (1 + g); h + s I. Source: g 10 % and s 2 proposed for this project, no source; intervals: 8 h
    by hand on drives (from memory of ASME B29.1 lubrication type A, unverified), 100 h open conveyor chain,
    500 h sealed joints (common practice, no source).

    Parameters
    ----------
    last_hours : (n,) float
        At the last record that counts (:func:`resets_clock`), else at the fitting. [h]
    interval_hours : (n,) float
        More than 0. [h]
    grace_share : float or (n,) float
        0 or more.
    starved_intervals : float or (n,) float
        1 or more.

    Returns
    -------
    LubeTurns
        [h]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    >>> [float(at) for at in lube_turns(1000, 100, grace_share=0.1, starved_intervals=2)]
    [1100.0, 1110.0, 1200.0]
    """
    last = numbers(last_hours, "last_hours")
    interval = numbers(interval_hours, "interval_hours", above=0)
    grace = numbers(grace_share, "grace_share", at_least=0)
    return LubeTurns(
        due=last + interval,
        overdue=last + interval + interval * grace,
        starved=last + interval * numbers(starved_intervals, "starved_intervals", at_least=1),
    )


def lube_clock(hours_now: ArrayLike, turns: LubeTurns) -> Whole:
    """Where each strand stands: a :class:`LubeClock`.

    Due from its hours on, overdue once past the grace, starved from its hours on.

    Parameters
    ----------
    hours_now : (n,) float
        [h]
    turns : LubeTurns
        From :func:`lube_turns`.

    Returns
    -------
    (n,) int

    Examples
    --------
    >>> turns = lube_turns(1000, 100, grace_share=0.1, starved_intervals=2)
    >>> [LubeClock(at).name for at in lube_clock([1099, 1100, 1110, 1111, 1200, np.nan], turns)]
    ['CLEAR', 'DUE', 'DUE', 'OVERDUE', 'STARVED', 'UNKNOWN']
    """
    now = numbers(hours_now, "hours_now")
    return np.select(
        [np.isnan(now + turns.due), now >= turns.starved, now > turns.overdue, now >= turns.due],
        [LubeClock.UNKNOWN, LubeClock.STARVED, LubeClock.OVERDUE, LubeClock.DUE],
        LubeClock.CLEAR,
    ).astype(np.int64)
