"""The elongations at which a chain is used up; the least governs.

Every limit is an elongation in per cent. Those of fit count from the nominal pitch, the others from the
length as fitted; :func:`as_wear` brings the former to the zero of the latter. Two values have a meaning of
their own:

- NaN: an input is missing, so the limit is *not judged* and must be named;
- infinity: this chain has no such limit (a through-hardened part has no case to wear through).

``pin_share`` is the part of the joint wear that the pin takes, w_p / (w_p + w_b).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from takeup.wear.arguments import Array, Whole, numbers

if TYPE_CHECKING:
    from numpy.typing import ArrayLike


#: teeth of the smallest sprocket there can be; 200/N is then far above every cap
FEWEST_TEETH = 3

# --------------------------------------------------------------------------------------- fit on the sprocket


def sprocket_limit(teeth_max: ArrayLike, *, cap_percent: ArrayLike, ride_percent: ArrayLike) -> Array:
    """Elongation at which a chain no longer fits its largest sprocket: min(cap, ride/N), geometric.

    With ride 200 the chain stands out by 2/(2 pi) = 0.318 pitches whatever the teeth. Sources: 3 % as the
    limit state of drilling drive chain, GOST 21834-87, 2.2.11, and of leaf chain, US Army TM 10-3930-671-24;
    200/N from memory of the American Chain Association's Standard Handbook of Chains, unverified. Conveyors
    and elevators take the same rule with their own cap (common practice, no source).

    Parameters
    ----------
    teeth_max : (n,) int
        Teeth of the largest sprocket, 3 or more.
    cap_percent, ride_percent : float or (n,) float
        More than 0. [%, % x teeth]

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
    >>> sprocket_limit([12, 80, 100, 120], cap_percent=3, ride_percent=200).round(3).tolist()
    [3.0, 2.5, 2.0, 1.667]
    """
    teeth = numbers(teeth_max, "teeth_max", at_least=FEWEST_TEETH)
    ride = numbers(ride_percent, "ride_percent", above=0)
    return np.minimum(numbers(cap_percent, "cap_percent", above=0), ride / teeth)


def fit_limit(
    teeth_max: ArrayLike,
    is_drive: ArrayLike,
    is_fixed: ArrayLike,
    *,
    drive_cap_percent: ArrayLike,
    fixed_percent: ArrayLike,
    conveyor_cap_percent: ArrayLike,
    ride_percent: ArrayLike,
) -> Array:
    """The one limit of fit that holds for a strand, geometric.

    Fixed centres without take-up: their own per cent (1.5: encyclopaedia article "Roller chain", section
    Wear; 1.0 to 2.0 common practice, no source). Drives and conveyors: :func:`sprocket_limit`, each with its
    cap.

    Parameters
    ----------
    teeth_max : (n,) int
        As in :func:`sprocket_limit`; not asked for on fixed centres.
    is_drive, is_fixed : (n,) bool
        A drive chain, and a chain on fixed centres (which goes first).
    drive_cap_percent, fixed_percent, conveyor_cap_percent, ride_percent : float or (n,) float
        More than 0.

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
    >>> fit_limit([80, 80, 80, np.nan], [True, False, True, True], [False, False, True, True],
    ...           drive_cap_percent=3, fixed_percent=1.5, conveyor_cap_percent=2, ride_percent=200).tolist()
    [2.5, 2.0, 1.5, 1.5]
    """
    cap = np.where(np.asarray(is_drive, dtype=bool), drive_cap_percent, conveyor_cap_percent)
    ridden = sprocket_limit(teeth_max, cap_percent=cap, ride_percent=ride_percent)
    fixed = numbers(fixed_percent, "fixed_percent", above=0)
    return np.where(np.asarray(is_fixed, dtype=bool), fixed, ridden)


def pitch_diameter(pitch_mm: ArrayLike, teeth: ArrayLike) -> Array:
    """Diameter of the pitch circle of a sprocket: P / sin(180/N). Source: definition (ASME B29.1, ISO 606).

    Parameters
    ----------
    pitch_mm : float or (n,) float
        More than 0. [mm]
    teeth : (n,) int
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
    >>> pitch_diameter(1.0, [12, 17]).round(4).tolist()
    [3.8637, 5.4422]
    """
    return numbers(pitch_mm, "pitch_mm", above=0) / np.sin(np.pi / numbers(teeth, "teeth", at_least=3))


def ride_up(pitch_mm: ArrayLike, teeth: ArrayLike, geometric_percent: ArrayLike) -> Array:
    """How far a lengthened chain stands out on its sprocket: dR = P e / (200 sin(180/N)).

    Half the growth of the pitch circle (:func:`pitch_diameter`) with the pitch. Source: derived.

    Parameters
    ----------
    pitch_mm, teeth
        As in :func:`pitch_diameter`.
    geometric_percent : (n,) float
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
    >>> ride_up(1.0, [6, 12], 3.0).round(3).tolist()
    [0.03, 0.058]
    """
    growth = numbers(geometric_percent, "geometric_percent") / 100.0
    return pitch_diameter(pitch_mm, teeth) / 2.0 * growth


def as_wear(limit_percent: ArrayLike, is_geometric: ArrayLike, zero_shift_percent: ArrayLike) -> Array:
    """A limit read on the wear zero: a geometric one less what the chain was born long.

    Source: derived from the two definitions of elongation.

    Parameters
    ----------
    limit_percent : (n,) float
        [%]
    is_geometric : bool or (n,) bool
        The limit counts from the nominal pitch.
    zero_shift_percent : (n,) float
        Geometric less wear elongation of the same life. [points of %]

    Returns
    -------
    (n,) float
        [%]

    Examples
    --------
    >>> as_wear([3.0, 1.969], [True, False], 0.105).round(3).tolist()
    [2.895, 1.969]
    """
    shift = np.where(
        np.asarray(is_geometric, dtype=bool), numbers(zero_shift_percent, "zero_shift_percent"), 0
    )
    return numbers(limit_percent, "limit_percent") - shift


# ----------------------------------------------------------------------------------------------- the take-up


def takeup_limit(
    wear_percent: ArrayLike, remaining_mm: ArrayLike, pitches: ArrayLike, pitch_mm: ArrayLike
) -> Array:
    """Elongation at which the take-up is run out: e + 200 T_rem / (M P).

    The loop grows by M P e/100 and each end gives half. Source: derived; the safe side of the exact value on
    two sprockets, and only with both runs in line with the screw: a take-up sprocket wrapped by an angle
    theta takes in 2 sin(theta/2) for each millimetre, not 2.

    Parameters
    ----------
    wear_percent : (n,) float
        Now. [%]
    remaining_mm : (n,) float
        Travel left at the screw further out, 0 or more. [mm]
    pitches : (n,) int
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
    Before and after two pitches are taken out of 240:

    >>> takeup_limit([1.552, 1.552], [180.0, 334.8], [240, 238], 152.4).round(3).tolist()
    [2.536, 3.398]
    """
    left = numbers(remaining_mm, "remaining_mm", at_least=0)
    loop = numbers(pitches, "pitches", at_least=4) * numbers(pitch_mm, "pitch_mm", above=0)
    return numbers(wear_percent, "wear_percent") + 200.0 * left / loop


def whole_travel_limit(
    travel_mm: ArrayLike, start_mm: ArrayLike, pitches: ArrayLike, pitch_mm: ArrayLike
) -> Array:
    """Elongation that uses up the whole take-up of an unshortened chain: 200 (T_tot - T_0) / (M P).

    Final where the take-up can never hold one shortening step. Source: derived.

    Parameters
    ----------
    travel_mm, start_mm : (n,) float
        Whole travel, and where it stood as fitted; the start not beyond the travel. [mm]
    pitches, pitch_mm
        As in :func:`takeup_limit`.

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
    >>> whole_travel_limit([480.0], [16.0], [240], 152.4).round(3).tolist()
    [2.537]
    """
    left = numbers(travel_mm, "travel_mm", at_least=0) - numbers(start_mm, "start_mm", at_least=0)
    return takeup_limit(0.0, numbers(left, "travel_mm less start_mm", at_least=0), pitches, pitch_mm)


# ------------------------------------------------------------------------------------- hardness and strength


def case_limit(
    pitch_mm: ArrayLike,
    pin_case_mm: ArrayLike,
    bushing_case_mm: ArrayLike,
    pin_share: ArrayLike,
    usable_share: ArrayLike,
) -> Array:
    """Elongation at which a hardened case is worn through: 100 min(f t_p/s_p, f t_b/(1-s_p)) / P.

    Beyond it wear goes on faster; it is no loss of strength. Source: derived. Usual effective depths: pin,
    induction hardened, 3.2 mm (2 to 5, common practice, no source); bushing, carburised, 1.5 mm (0.8 to 2.5,
    common practice, no source).

    Parameters
    ----------
    pitch_mm : (n,) float
        More than 0. [mm]
    pin_case_mm, bushing_case_mm : (n,) float
        Effective depth; 0 for a part without a case (through hardened), NaN not known. [mm]
    pin_share : float or (n,) float
        Between 0 and 1.
    usable_share : float or (n,) float
        Share f of the stated depth that can be counted on, more than 0, at most 1.

    Returns
    -------
    (n,) float
        Infinity where neither part has a case; NaN where a depth that would count is not known. [%]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    Both cased; a through-hardened pin; no case at all; bushing not known:

    >>> case_limit(152.4, [3.175, 0, 0, 3.175], [1.5, 1.5, 0, np.nan], 0.5, 1.0).round(3).tolist()
    [1.969, 1.969, inf, nan]
    """
    share = numbers(pin_share, "pin_share", above=0, below=1)
    parts = (
        numbers(depth, name, at_least=0) / taken
        for depth, name, taken in (
            (pin_case_mm, "pin_case_mm", share),
            (bushing_case_mm, "bushing_case_mm", 1.0 - share),
        )
    )
    pin, bushing = (np.where(part == 0, np.inf, part) for part in parts)
    usable = numbers(usable_share, "usable_share", above=0, at_most=1)
    return 100.0 * usable * np.minimum(pin, bushing) / numbers(pitch_mm, "pitch_mm", above=0)


def chrome_limit(pitch_mm: ArrayLike, chrome_mm: ArrayLike, pin_share: ArrayLike) -> Array:
    """Elongation at which hard chrome is worn off the pin: 100 t_cr / (s_p P). Source: derived.

    Usual depth 0.15 mm (0.05 to 0.30; from memory of ISO 6158, unverified).

    Parameters
    ----------
    pitch_mm, pin_share
        As in :func:`case_limit`.
    chrome_mm : (n,) float
        0 for none. [mm]

    Returns
    -------
    (n,) float
        Infinity without chrome. [%]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    >>> chrome_limit(152.4, [0.15, 0.0], 0.5).round(3).tolist()
    [0.197, inf]
    """
    depth = numbers(chrome_mm, "chrome_mm", at_least=0)
    share = numbers(pin_share, "pin_share", above=0, below=1)
    worn_off = 100.0 * depth / (share * numbers(pitch_mm, "pitch_mm", above=0))
    return np.where(depth == 0, np.inf, worn_off)


def pin_depth_allowed(pin_diameter_mm: ArrayLike, strength_kept: ArrayLike) -> Array:
    """Depth that may be worn from a pin: d (1 - R^(1/3)), R being the bending strength that must be left.

    The section modulus of a round goes with the cube of its diameter, here the least one left. Source:
    derived; R 0.75 (0.7 to 0.85) common practice, no source.

    Parameters
    ----------
    pin_diameter_mm : (n,) float
        New, more than 0. [mm]
    strength_kept : float or (n,) float
        More than 0, less than 1.

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
    >>> pin_depth_allowed([31.75], 0.75).round(2).tolist()
    [2.9]
    """
    kept = numbers(strength_kept, "strength_kept", above=0, below=1)
    return numbers(pin_diameter_mm, "pin_diameter_mm", above=0) * (1.0 - np.cbrt(kept))


def pin_limit(
    pitch_mm: ArrayLike, pin_diameter_mm: ArrayLike, strength_kept: ArrayLike, pin_share: ArrayLike
) -> Array:
    """Elongation at which the pin has lost its bending strength: 100 w_p / (s_p P). Source: derived.

    Parameters
    ----------
    pitch_mm, pin_share
        As in :func:`case_limit`.
    pin_diameter_mm, strength_kept
        As in :func:`pin_depth_allowed`.

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
    >>> pin_limit(152.4, [31.75], 0.75, 0.5).round(2).tolist()
    [3.81]
    """
    share = numbers(pin_share, "pin_share", above=0, below=1)
    depth = pin_depth_allowed(pin_diameter_mm, strength_kept)
    return 100.0 * depth / (share * numbers(pitch_mm, "pitch_mm", above=0))


def bushing_limit(
    pitch_mm: ArrayLike,
    wall_mm: ArrayLike,
    outside_wear_mm: ArrayLike,
    wall_share: ArrayLike,
    pin_share: ArrayLike,
) -> Array:
    """Elongation at which a bushing wall has lost its share: 100 (q wall - outside wear) / ((1-s_p) P).

    Source: derived; q 1/3 (1/4 to 1/2) common practice, no source.

    Parameters
    ----------
    pitch_mm, pin_share
        As in :func:`case_limit`.
    wall_mm : (n,) float
        When new, more than 0. [mm]
    outside_wear_mm : (n,) float
        Depth worn from the outside, 0 or more. [mm]
    wall_share : float or (n,) float
        Share q of the wall that may go, more than 0, less than 1.

    Returns
    -------
    (n,) float
        0 where the outside alone has taken it. [%]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    >>> bushing_limit(152.4, [6.0, 6.0], [0.0, 2.5], 1 / 3, 0.5).round(2).tolist()
    [2.62, 0.0]
    """
    may_go = numbers(wall_mm, "wall_mm", above=0) * numbers(wall_share, "wall_share", above=0, below=1)
    inside = np.maximum(may_go - numbers(outside_wear_mm, "outside_wear_mm", at_least=0), 0.0)
    share = 1.0 - numbers(pin_share, "pin_share", above=0, below=1)
    return 100.0 * inside / (share * numbers(pitch_mm, "pitch_mm", above=0))


def sidebar_loss(height_mm: ArrayLike, height_now_mm: ArrayLike, hole_mm: ArrayLike) -> Array:
    """Share of a sidebar's net section that edge wear has taken: dh / (h - d_hole). Source: derived.

    Limit 0.25, plan line 0.15 (common practice, no source).

    Parameters
    ----------
    height_mm, height_now_mm : (n,) float
        When new and now, more than 0. [mm]
    hole_mm : (n,) float
        Less than the height when new. [mm]

    Returns
    -------
    (n,) float
        0.25 is a quarter. [-]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    >>> sidebar_loss([76.0], [66.0], [36.0]).tolist()
    [0.25]
    """
    height = numbers(height_mm, "height_mm", above=0)
    net = numbers(height - numbers(hole_mm, "hole_mm", at_least=0), "height_mm less hole_mm", above=0)
    return (height - numbers(height_now_mm, "height_now_mm", above=0)) / net


# ------------------------------------------------------------------------------------------------- the least


def least(limits: ArrayLike) -> tuple[Whole, Array]:
    """Which limit governs: the least of those that could be judged.

    Parameters
    ----------
    limits : (k, n) float
        k limits, all on one zero; NaN not judged, infinity no such limit. [%]

    Returns
    -------
    index : (n,) int
        Row of the least, the first of equals; -1 where none could be judged.
    value : (n,) float
        NaN where none could be judged. [%]

    Examples
    --------
    >>> index, value = least([[2.895, np.nan, 3.0], [2.536, np.nan, np.inf], [1.969, np.inf, np.nan]])
    >>> index.tolist(), value.tolist()
    ([2, -1, 0], [1.969, nan, 3.0])
    """
    table = np.atleast_2d(numbers(limits, "limits"))
    judged = np.where(np.isnan(table), np.inf, table)
    index = np.argmin(judged, axis=0)
    value = judged[index, np.arange(table.shape[1])]
    some = np.isfinite(value)
    return np.where(some, index, -1), np.where(some, value, np.nan)
