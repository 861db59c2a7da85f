"""Settings that a formula takes as one number, where machines or strands may have their own."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from takeup.layered import Layered
from takeup.wear.arguments import Whole

if TYPE_CHECKING:
    from numpy.typing import NDArray


def shared(
    settings: Layered[Any], names: Sequence[str], machines: NDArray[np.object_], strands: NDArray[np.object_]
) -> Iterator[tuple[dict[str, Any], Whole]]:
    """Groups of subjects that share the values of some settings; nearly always one group.

    Parameters
    ----------
    settings : Layered
    names : sequence of str
        Fields of its record.
    machines, strands : (n,) str
        ``""`` for a strand asks for what holds for the machine as a whole.

    Yields
    ------
    values : dict
        Name to value.
    places : (k,) int
        The subjects of the group, rising.
    """
    columns = [settings.column(name, machines, strands).tolist() for name in names]
    values = list(zip(*columns, strict=True))
    for group in sorted(set(values)):
        places = np.array([place for place, its in enumerate(values) if its == group], dtype=np.int64)
        yield dict(zip(names, group, strict=True)), places
