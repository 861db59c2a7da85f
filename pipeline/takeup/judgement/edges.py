"""The limits that no tape tells: what is left of sidebar edges, and of the clearance about the chain.

Both stand on what the latest inspection gauged and on the register. Neither has a forecast: a place is gauged
when somebody stands before it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from takeup.judgement.limits import settings_column
from takeup.judgement.rule import MM, PERCENT, Row, numbers, rounded
from takeup.wear.limits import sidebar_loss

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from takeup.judgement.settings import JudgementSettings

#: limit → (kind, register columns it wants)
EDGES: dict[str, tuple[str, tuple[str, ...]]] = {
    "sidebar": ("strength", ("sidebar_height_mm", "sidebar_hole_mm")),
    "clearance": ("function", ("clearance_min_mm",)),
}


def edges(strands: pd.DataFrame, settings: JudgementSettings) -> dict[str, NDArray[Any]]:
    """Where every strand stands against :data:`EDGES`.

    Parameters
    ----------
    strands : DataFrame
        The state frame.
    settings : JudgementSettings

    Returns
    -------
    dict of (n,) float
        ``sidebar_loss``, its expanded uncertainty ``sidebar_loss_u``, ``sidebar_limit`` and ``sidebar_plan``,
        all of the net section between edge and hole [%]; NaN where a size is not known or leaves no section.
        ``clearance_over``, what the clearance has above the drawing's, and its ``clearance_u`` [mm].
    """
    column = settings_column(strands, settings)
    height, hole = numbers(strands, "sidebar_height_mm"), numbers(strands, "sidebar_hole_mm")
    with np.errstate(invalid="ignore"):
        height = np.where(height > hole, height, np.nan)  # a hole as high as the sidebar: a register mistake
    loss = sidebar_loss(height, numbers(strands, "sidebar_now_mm"), np.where(np.isnan(height), np.nan, hole))
    over = numbers(strands, "clearance_now_mm") - numbers(strands, "clearance_min_mm")
    return {
        "sidebar_loss": rounded(100 * loss, PERCENT),
        "sidebar_loss_u": rounded(100 * column("gauge_u_mm") / (height - hole), PERCENT),
        "sidebar_limit": rounded(100 * column("sidebar_limit_part"), PERCENT),
        "sidebar_plan": rounded(100 * column("sidebar_plan_part"), PERCENT),
        "clearance_over": rounded(over, MM),
        "clearance_u": rounded(column("gauge_u_mm") + np.zeros(len(strands)), MM),
    }


def sizes_missing(row: Row) -> tuple[str, ...]:
    """Register sizes of the sidebar that are blank; both where they leave no section between them."""
    wanted = EDGES["sidebar"][1]
    return tuple(name for name in wanted if np.isnan(row[name])) or wanted
