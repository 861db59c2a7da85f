"""What a replay found, for a terminal."""

from __future__ import annotations

import html
import json
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from takeup.audit.replay import ABSENT, Difference, Kind, NightCompared, OtherVersion
from takeup.documents.environment import environment, own_templates

#: So many differences of a night are told; ``--json`` has them all.
TOLD = 20
#: A value is told up to so many letters, a SHA-256 by so many.
LONGEST, OF_A_HASH = 90, 12


def replay_text(
    folder: str, nights: Sequence[NightCompared], earlier: Sequence[int], template_dirs: Sequence[Path]
) -> str:
    """What a replay found, for people.

    Parameters
    ----------
    folder : str
        Where the queues of the nights told again lie.
    nights : sequence of NightCompared
    earlier : sequence of int
        Nights before them that did not come out as recorded.
    template_dirs : sequence of Path
        The site's own first, ours last.
    """
    with own_templates(template_dirs):
        text = environment(template_dirs).get_template("text/replay.txt.j2")
        return html.unescape(
            text.render(
                folder=folder,
                count=len(nights),
                earlier=earlier,
                to_the_byte=[night for night in nights if not night.other_versions],
                by_orders=_by_versions(nights),
                told=[_told(night) for night in nights if night.differences],
            )
        ).strip()


def _by_versions(
    nights: Sequence[NightCompared],
) -> list[tuple[tuple[OtherVersion, ...], list[NightCompared]]]:
    """The nights of other versions, those told by the same ones together."""
    found: defaultdict[tuple[OtherVersion, ...], list[NightCompared]] = defaultdict(list)
    for night in nights:
        if night.other_versions:
            found[night.other_versions].append(night)
    return list(found.items())


def _told(night: NightCompared) -> dict[str, Any]:
    return {
        "night": night,
        "lines": [
            {
                "kind": one.kind,
                "order": one.order,
                "name": one.name,
                "recorded": _side(one, one.recorded),
                "told": _side(one, one.told),
            }
            for one in night.differences[:TOLD]
        ],
        "more": max(0, len(night.differences) - TOLD),
    }


def _side(difference: Difference, value: Any) -> str:
    """One side of a difference; blank where it has nothing."""
    if value is ABSENT:
        return ""
    if difference.kind is Kind.FILE:
        return str(value)[:OF_A_HASH]
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= LONGEST else text[: LONGEST - 1] + "…"
