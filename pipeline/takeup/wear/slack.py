"""What the take-up tells, and what taking pitches out gives back.

Travels are measured at the screw further out, from its innermost place. The loop runs over two sprockets: it
grows by M P e/100, and one end moves half of that.
"""

from __future__ import annotations

from enum import IntEnum
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from takeup.wear.arguments import Array, Flags, Whole, numbers

if TYPE_CHECKING:
    from numpy.typing import ArrayLike


def _loop(pitches: ArrayLike, pitch_mm: ArrayLike) -> Array:
    """M P in mm."""
    return numbers(pitches, "pitches", at_least=4) * numbers(pitch_mm, "pitch_mm", above=0)


def loop_growth(pitches: ArrayLike, pitch_mm: ArrayLike, wear_percent: ArrayLike) -> Array:
    """How much longer the whole loop has grown: M P e / 100. Source: definition.

    Parameters
    ----------
    pitches : (n,) int
        In the strand, 4 or more.
    pitch_mm : (n,) float
        More than 0. [mm]
    wear_percent : (n,) float
        [%]

    Returns
    -------
    (n,) float
        [mm]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    At 3 % a loop of 240 pitches has grown by 7.2 of them:

    >>> (loop_growth([240], 152.4, 3.0) / 152.4).round(2).tolist()
    [7.2]
    """
    return _loop(pitches, pitch_mm) * numbers(wear_percent, "wear_percent") / 100.0


def takeup_elongation(
    used_mm: ArrayLike,
    start_mm: ArrayLike,
    pitches_removed: ArrayLike,
    pitches_left: ArrayLike,
    pitch_mm: ArrayLike,
) -> Array:
    """Mean wear elongation of the strand told by its take-up: 200 (T - T_0 + K P/2) / (M P).

    Averages every joint, but reads low where worn chain rides out on the teeth (:func:`ride_out_factor`).
    Source: derived; exact however long the pitches were that were taken out. Chain as warm as at the fitting.

    Parameters
    ----------
    used_mm, start_mm : (n,) float
        Travel used now and as fitted. [mm]
    pitches_removed : (n,) int
        All taken out in this life, 0 or more.
    pitches_left : (n,) int
        In the strand now, 4 or more.
    pitch_mm : (n,) float
        More than 0. [mm]

    Returns
    -------
    (n,) float
        [%]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    One millimetre of screw on 240 pitches, and the same strand with two pitches out:

    >>> takeup_elongation([17.0, 145.2], 16.0, [0, 2], [240, 238], 152.4).round(4).tolist()
    [0.0055, 1.5527]
    """
    moved = numbers(used_mm, "used_mm", at_least=0) - numbers(start_mm, "start_mm", at_least=0)
    removed = numbers(pitches_removed, "pitches_removed", at_least=0) * numbers(pitch_mm, "pitch_mm", above=0)
    return 200.0 * (moved + removed / 2.0) / _loop(pitches_left, pitch_mm)


def ride_out_factor(pitches: ArrayLike, teeth_one: ArrayLike, teeth_two: ArrayLike) -> Array:
    """Up to how many times the take-up's elongation the true one may be: M / (M - (N1 + N2)/2).

    The pitches lying on the sprockets swallow their own growth where worn chain rides out. Source: derived.

    Parameters
    ----------
    pitches : (n,) int
        In the strand, more than half the teeth of both sprockets.
    teeth_one, teeth_two : (n,) int
        3 or more.

    Returns
    -------
    (n,) float
        1 or more.

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    >>> ride_out_factor([240], 12, 12).round(2).tolist()
    [1.05]
    """
    around = (numbers(teeth_one, "teeth_one", at_least=3) + numbers(teeth_two, "teeth_two", at_least=3)) / 2.0
    loop = numbers(pitches, "pitches", at_least=4)
    return loop / numbers(loop - around, "pitches clear of the sprockets", above=0)


def estimated_travel(
    start_mm: ArrayLike, pitches: ArrayLike, pitch_mm: ArrayLike, wear_percent: ArrayLike
) -> Array:
    """Travel an unshortened chain should have used: T_0 + M P e / 200. Source: derived.

    An estimate to plan with where the screw was not read; never to be turned back into an elongation.

    Parameters
    ----------
    start_mm : (n,) float
        As fitted. [mm]
    pitches, pitch_mm, wear_percent
        As in :func:`loop_growth`.

    Returns
    -------
    (n,) float
        [mm]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    >>> estimated_travel(16.0, [240], 152.4, 1.552).round(1).tolist()
    [299.8]
    """
    grown = loop_growth(pitches, pitch_mm, wear_percent)
    return numbers(start_mm, "start_mm", at_least=0) + grown / 2.0


def returned_by(pitches_out: ArrayLike, pitch_mm: ArrayLike, wear_percent: ArrayLike) -> Array:
    """Travel that taking pitches out gives back: k P (1 + e/100) / 2. Source: derived.

    Parameters
    ----------
    pitches_out : (n,) int
        0 or more.
    pitch_mm : (n,) float
        More than 0. [mm]
    wear_percent : (n,) float
        [%]

    Returns
    -------
    (n,) float
        [mm]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    >>> returned_by([2, 4], 152.4, 1.552).round(1).tolist()
    [154.8, 309.5]
    """
    worn_pitch = numbers(pitch_mm, "pitch_mm", above=0) * (
        1.0 + numbers(wear_percent, "wear_percent") / 100.0
    )
    return numbers(pitches_out, "pitches_out", at_least=0) * worn_pitch / 2.0


def shortening_step(alternate: ArrayLike, attachment_every: ArrayLike) -> Whole:
    """The least number of pitches that may be taken out at once.

    A pair on chain of alternate inner and outer links, one on offset-sidebar chain, and a multiple of the
    spacing of the attachments. Source: derived.

    Parameters
    ----------
    alternate : (n,) bool
        Inner and outer links alternate.
    attachment_every : (n,) int
        Pitches from attachment to attachment, 1 or more; 1 without attachments.

    Returns
    -------
    (n,) int
        0 where the spacing is not known.

    Raises
    ------
    WearInputError
        If a known spacing is below 1.

    Examples
    --------
    >>> shortening_step([True, True, True, False, False], [1, 4, 3, 1, np.nan]).tolist()
    [2, 4, 6, 1, 0]
    """
    spacing = numbers(attachment_every, "attachment_every", at_least=1)
    known = ~np.isnan(spacing)
    pair = np.where(np.asarray(alternate, dtype=bool), 2, 1)
    return np.where(known, np.lcm(pair, np.where(known, spacing, 1).astype(np.int64)), 0)


class Shortening(IntEnum):
    """Whether pitches can be taken out."""

    UNKNOWN = -1
    ALLOWED = 0
    NOT_YET = 1
    """The take-up has not run out far enough to give the step back."""
    NEVER = 2
    """The whole travel is shorter than one step: the chain cannot be shortened."""


class Shortened(NamedTuple):
    """One value a strand; see :func:`shortening`."""

    answer: Whole
    returned_mm: Array
    needed_mm: Array
    remaining_after_mm: Array
    pitches_after: Array


def shortening(
    pitches_out: ArrayLike,
    *,
    used_mm: ArrayLike,
    travel_mm: ArrayLike,
    pitches: ArrayLike,
    pitch_mm: ArrayLike,
    wear_percent: ArrayLike,
    joining_slack_mm: ArrayLike,
) -> Shortened:
    """Whether k pitches can be taken out, and how the take-up would stand afterwards.

    Allowed if T_used >= k P (1 + e/100)/2 + joining slack; never if even the whole travel is less than that.
    k must itself be a multiple of :func:`shortening_step`, and equal on all strands of a set. Source:
    derived; joining slack 15 mm (10 to 50) common practice, no source.

    Parameters
    ----------
    pitches_out : (n,) int
        k; 0 (see :func:`shortening_step`) or NaN where it is not known.
    used_mm, travel_mm : (n,) float
        Travel used and whole travel, 0 or more. [mm]
    pitches : (n,) int
        In the strand now, 4 or more.
    pitch_mm : (n,) float
        More than 0. [mm]
    wear_percent : (n,) float
        Now. [%]
    joining_slack_mm : float or (n,) float
        0 or more. [mm]

    Returns
    -------
    Shortened
        ``answer``: a :class:`Shortening`; ``returned_mm``: what it gives back; ``needed_mm``: travel that
        must be used before it is allowed; ``remaining_after_mm`` and ``pitches_after``: travel left and
        pitches after it, NaN unless allowed. All (n,).

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    Two pitches now; buckets every fourth pitch; a take-up of 140 mm:

    >>> told = shortening([2, 4, 2], used_mm=[300.0, 300.0, 100.0], travel_mm=[480.0, 480.0, 140.0],
    ...     pitches=240, pitch_mm=152.4, wear_percent=1.552, joining_slack_mm=15)
    >>> [Shortening(answer).name for answer in told.answer]
    ['ALLOWED', 'NOT_YET', 'NEVER']
    >>> told.returned_mm.round(1).tolist(), told.remaining_after_mm.round(1).tolist()
    ([154.8, 309.5, 154.8], [334.8, nan, nan])
    """
    k = numbers(pitches_out, "pitches_out", at_least=0)
    used, whole = numbers(used_mm, "used_mm", at_least=0), numbers(travel_mm, "travel_mm", at_least=0)
    returned = returned_by(np.where(k > 0, k, np.nan), pitch_mm, wear_percent)
    needed = returned + numbers(joining_slack_mm, "joining_slack_mm", at_least=0)
    never = whole < needed
    unknown = np.isnan(needed) | np.isnan(whole) | (np.isnan(used) & ~never)
    answer = np.select(
        [unknown, never, used < needed],
        [Shortening.UNKNOWN, Shortening.NEVER, Shortening.NOT_YET],
        Shortening.ALLOWED,
    )
    allowed = answer == Shortening.ALLOWED
    return Shortened(
        answer=answer,
        returned_mm=returned,
        needed_mm=needed,
        remaining_after_mm=np.where(allowed, whole - used + returned, np.nan),
        pitches_after=np.where(allowed, numbers(pitches, "pitches", at_least=4) - k, np.nan),
    )


def loop_length(
    centres_mm: ArrayLike, pitch_mm: ArrayLike, teeth_one: ArrayLike, teeth_two: ArrayLike
) -> Array:
    """Length of chain that two sprockets on a distance need: 2 C + (N1+N2) P/2 + ((N2-N1) P/(2 pi))^2 / C.

    Source: the usual formula for the length of chain on two sprockets (from memory of the American Chain
    Association's Standard Handbook of Chains, unverified); derived here, to second order in (N2 - N1) P / C.

    Parameters
    ----------
    centres_mm, pitch_mm : (n,) float
        More than 0. [mm]
    teeth_one, teeth_two : (n,) int
        3 or more.

    Returns
    -------
    (n,) float
        [mm]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    >>> loop_length([17373.6], 152.4, 12, 12).round(1).tolist()
    [36576.0]
    """
    centres = numbers(centres_mm, "centres_mm", above=0)
    pitch = numbers(pitch_mm, "pitch_mm", above=0)
    one, two = numbers(teeth_one, "teeth_one", at_least=3), numbers(teeth_two, "teeth_two", at_least=3)
    return 2.0 * centres + (one + two) * pitch / 2.0 + ((two - one) * pitch / (2.0 * np.pi)) ** 2 / centres


def register_disagrees(
    pitches: ArrayLike,
    centres_mm: ArrayLike,
    pitch_mm: ArrayLike,
    teeth_one: ArrayLike,
    teeth_two: ArrayLike,
    *,
    tolerance_pitches: float,
) -> tuple[Flags, Array]:
    """Whether pitches and centres of the register cannot both be right, and by how many pitches they differ.

    Source: derived; a tolerance of two pitches likewise. Both as fitted, the centres with the take-up at its
    start.

    Parameters
    ----------
    pitches : (n,) int
        In the strand as fitted, 4 or more.
    centres_mm, pitch_mm, teeth_one, teeth_two
        As in :func:`loop_length`.
    tolerance_pitches : float

    Returns
    -------
    disagrees : (n,) bool
        False where an input is not known.
    pitches_over : (n,) float
        Pitches registered less pitches needed.

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    >>> disagrees, over = register_disagrees([240, 244], 17373.6, 152.4, 12, 12, tolerance_pitches=2)
    >>> disagrees.tolist(), over.round(1).tolist()
    ([False, True], [0.0, 4.0])
    """
    needed = loop_length(centres_mm, pitch_mm, teeth_one, teeth_two)
    over = (_loop(pitches, pitch_mm) - needed) / numbers(pitch_mm, "pitch_mm")
    return np.abs(over) > tolerance_pitches, over
