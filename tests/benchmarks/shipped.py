"""Where the shipped factors come from: two worlds that are used for nothing else.

Run ``python -m tests.benchmarks.shipped``; it takes half a minute. One world is of campaigns and jolts, the
other is drawn from the ranges that the trade tells. What they give is shown on the others by
:mod:`tests.benchmarks.coverage`.
"""

from __future__ import annotations

import numpy as np
from tests.benchmarks.coverage import forecast, plants_of, points_of
from tests.simulators import duty, ranges

from takeup.wear.calibration import STAGES

WORLDS = (duty, ranges)
#: Past lives of the plants whose widest points make the factors, and of those whose middles make the course.
YOUNG, GROWN = (0, 5, 10), 30


def tuned(plants: int = 40, lives: int = 100) -> dict[bool, tuple[list[tuple[float, float]], list[float]]]:
    """With and without a rate of one's own, by stage: the widest 5 and 95 % points, and the middles."""
    points: dict[bool, list[list[tuple[float, float, float]]]] = {True: [], False: []}
    middles: dict[bool, list[list[float]]] = {True: [], False: []}
    for world in WORLDS:
        for past in (*YOUNG, GROWN):
            told = [forecast(*plant) for plant in plants_of(world, past, plants, lives, 99)]
            for own in (True, False):
                found = [points_of(told, lives, own, stage) for stage in range(len(STAGES) + 1)]
                if past in YOUNG:
                    points[own].append(found)
                else:
                    middles[own].append([middle for _, middle, _ in found])
    return {
        own: (
            [
                (min(low for low, _, _ in at), max(high for _, _, high in at))
                for at in zip(*points[own], strict=True)
            ],
            np.exp(np.log(middles[own]).mean(axis=0)).tolist(),
        )
        for own in (True, False)
    }


if __name__ == "__main__":
    for own, (pairs, course) in tuned().items():
        outwards = [(float(np.floor(low * 20) / 20), float(np.ceil(high * 20) / 20)) for low, high in pairs]
        print("own rate" if own else "no rate")
        print("  points", [(round(low, 3), round(high, 3)) for low, high in pairs], "outwards", outwards)
        print("  course", [round(middle, 2) for middle in course])
