"""How far pin and bushing slide on each other: wear follows joint travel under load, not hours.

Every sprocket bends a joint on entry and straightens it on exit. So doubling the speed doubles the wear by
the hour, a loop twice as long halves it, larger sprockets lower it, and sister machines compare by the
kilometre slid. Depth worn goes with pressure times sliding over hardness (Archard's law, named so in a
tribology review); pressure and abrasive still differ between machines. Source of the lengths: derived.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from takeup.wear.arguments import Array, numbers

if TYPE_CHECKING:
    from numpy.typing import ArrayLike


def loops_per_hour(speed_m_per_s: ArrayLike, pitches: ArrayLike, pitch_mm: ArrayLike) -> Array:
    """How often each joint comes round: speed over the length of the loop. Source: definition.

    Parameters
    ----------
    speed_m_per_s : (n,) float
        0 or more. [m/s]
    pitches : (n,) int
        In the strand, 4 or more.
    pitch_mm : (n,) float
        More than 0. [mm]

    Returns
    -------
    (n,) float
        [1/h]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    240 pitches of 152.4 mm at half a metre a second:

    >>> loops_per_hour([0.5], [240], 152.4).round(1).tolist()
    [49.2]
    """
    loop_m = numbers(pitches, "pitches", at_least=4) * numbers(pitch_mm, "pitch_mm", above=0) / 1000.0
    return 3600.0 * numbers(speed_m_per_s, "speed_m_per_s", at_least=0) / loop_m


def slide_per_bend(pin_diameter_mm: ArrayLike, teeth: ArrayLike) -> Array:
    """Path that pin and bushing slide as a joint bends by one tooth: the angle 2 pi / N on the pin's radius.

    Source: derived.

    Parameters
    ----------
    pin_diameter_mm : (n,) float
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
    >>> slide_per_bend([31.75], 12).round(2).tolist()
    [8.31]
    """
    radius = numbers(pin_diameter_mm, "pin_diameter_mm", above=0) / 2.0
    return 2.0 * np.pi / numbers(teeth, "teeth", at_least=3) * radius


def slide_per_hour(
    speed_m_per_s: ArrayLike,
    pitches: ArrayLike,
    pitch_mm: ArrayLike,
    pin_diameter_mm: ArrayLike,
    teeth_one: ArrayLike,
    teeth_two: ArrayLike,
) -> Array:
    """Sliding of each joint in an hour on a loop over two sprockets: two bends at each, every loop.

    Source: derived.

    Parameters
    ----------
    speed_m_per_s, pitches, pitch_mm
        As in :func:`loops_per_hour`.
    pin_diameter_mm, teeth_one, teeth_two
        As in :func:`slide_per_bend`.

    Returns
    -------
    (n,) float
        [m/h]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    >>> slide_per_hour([0.5, 1.0], 240, 152.4, 31.75, 12, 12).round(2).tolist()
    [1.64, 3.27]
    """
    bends = slide_per_bend(pin_diameter_mm, teeth_one) + slide_per_bend(pin_diameter_mm, teeth_two)
    return 2.0 * bends * loops_per_hour(speed_m_per_s, pitches, pitch_mm) / 1000.0


def rate_per_km(rate_percent_per_1000h: ArrayLike, slide_m_per_hour: ArrayLike) -> Array:
    """A wear rate by the kilometre slid: what a thousand hours lengthen over the kilometres they slide.

    Source: definition.

    Parameters
    ----------
    rate_percent_per_1000h : (n,) float
        [% per 1000 h]
    slide_m_per_hour : (n,) float
        0 or more. [m/h]

    Returns
    -------
    (n,) float
        NaN for a chain that does not move. [% per km]

    Raises
    ------
    WearInputError
        If a known value is outside its range.

    Examples
    --------
    Two machines of one service, the second twice as fast and wearing twice as fast:

    >>> rate_per_km([0.2656, 0.5312], slide_per_hour([0.5, 1.0], 240, 152.4, 31.75, 12, 12)).round(3).tolist()
    [0.162, 0.162]
    """
    slide = numbers(slide_m_per_hour, "slide_m_per_hour", at_least=0)
    rate = numbers(rate_percent_per_1000h, "rate_percent_per_1000h")
    return rate / np.where(slide > 0, slide, np.nan)
