"""What the record knows of the sprockets that a set of chain runs on, and what follows for a new set.

Old teeth ruin a new chain, so a new set goes on sprockets that the gauge proved, or the order says which it
did not. Source: common practice, no source; that old sprockets wear new chain fast: MIL-HDBK-1164, p. 236.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from takeup.judgement.rule import MM, Row, numbers, rounded, words, yes

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from takeup.judgement.settings import JudgementSettings

_EPOCH = date(1970, 1, 1)
#: constructions whose rollers, not their barrels, meet the teeth
_ROLLERS = ("roller_conveyor", "offset_sidebar_roller", "roller_drive")
#: shafts of a strand that carry a sprocket, and the column of the register that counts its teeth
_SHAFTS = {"drive": "teeth_drive", "tail": "teeth_tail"}

#: what the record proves of a sprocket; the reader's words are ``words.toml``, table ``[sprocket_proof]``
PROOFS = (
    "worn_reversible", "worn_reversed", "sound", "sound_reversed", "not_gauged", "gauged_before_chain",
    "no_diameter", "not_recorded",
)  # fmt: skip
#: the proofs under which no set should be fitted before the gauge has been on the teeth
UNPROVED = ("not_gauged", "gauged_before_chain", "no_diameter", "not_recorded")


@dataclass(frozen=True)
class SprocketLine:
    """One sprocket of a set.

    ``proof`` is one of :data:`PROOFS`. ``chains`` counts the lives on it since ``fitted_on``; ``at_least``
    says that it was fitted before the first life its strand has in the register. What is not known is None
    or ''.
    """

    sprocket: str
    shaft: str
    strands: tuple[str, ...]
    proof: str
    teeth: int | None = None
    depth_mm: float | None = None
    limit_mm: float | None = None
    limit_origin: str = ""
    checked_on: date | None = None
    fitted_on: date | None = None
    reversed: bool = False
    chains: int | None = None
    at_least: bool = False

    @property
    def unproved(self) -> bool:
        """Whether nothing on record shows that it may carry a new chain."""
        return self.proof in UNPROVED


def on_rollers(strands: pd.DataFrame) -> NDArray[np.bool_]:
    """Whether a strand's rollers meet the teeth; else its barrels do."""
    return np.isin(words(strands, "construction"), _ROLLERS)


def mesh_diameter(strands: pd.DataFrame) -> NDArray[np.float64]:
    """Diameter in mm of what meets the teeth of each strand, NaN where the register has none."""
    return np.where(
        on_rollers(strands), numbers(strands, "roller_diameter_mm"), numbers(strands, "bushing_outside_mm")
    )


def sprocket_lines(
    strands: pd.DataFrame, checks: pd.DataFrame, lives: pd.DataFrame, settings: JudgementSettings
) -> tuple[SprocketLine, ...]:
    """Every sprocket on record for the strands of one set, and each shaft that the record leaves out.

    Parameters
    ----------
    strands : DataFrame
        The set's rows of the prognosis.
    checks : DataFrame
        Rows of the feed sprocket_checks.
    lives : DataFrame
        Columns ``strand``, ``fitted_day``, ``removed_day``; closed lives too.
    settings : JudgementSettings
    """
    if not len(strands):
        return ()
    rows: list[Row] = strands.to_dict("records")  # type: ignore[assignment]
    names = [str(row["strand"]) for row in rows]
    diameters = dict(zip(names, mesh_diameter(strands).tolist(), strict=True))
    fitted = dict(zip(names, numbers(strands, "fitted_day").tolist(), strict=True))
    machine = str(rows[0]["machine"])
    its = lives[lives["strand"].isin(names)]
    spans = {
        name: [
            (begin, math.inf if math.isnan(end) else end) for begin, end in zip(*_days(group), strict=True)
        ]
        for name, group in its.groupby("strand", sort=True)
    }
    limits = {name: _limit(settings, machine, name, diameter) for name, diameter in diameters.items()}
    lines = []
    for one in _sprockets(checks, machine, names):
        over = (one["strand"],) if one["strand"] else tuple(names)
        limit, origin = min(
            (limits[name] for name in over), key=lambda it: math.inf if it[0] is None else it[0]
        )
        begun = max((fitted[name] for name in over if fitted[name] == fitted[name]), default=math.inf)
        chains, at_least = _served([spans.get(name, []) for name in over], one["fitted"])
        lines.append(
            SprocketLine(
                sprocket=one["sprocket"],
                shaft=one["shaft"],
                strands=over,
                proof=_proof(one, limit, begun),
                teeth=one["teeth"],
                depth_mm=one["depth"],
                limit_mm=limit,
                limit_origin=origin,
                checked_on=_day(one["gauged"]),
                fitted_on=_day(one["fitted"]),
                reversed=one["reversed"],
                chains=chains,
                at_least=at_least,
            )
        )
    return (*lines, *_not_recorded(rows, lines, limits))


def _limit(
    settings: JudgementSettings, machine: str, strand: str, diameter: float
) -> tuple[float | None, str]:
    """Depth at which a tooth under this strand is worn, None without a diameter, and whose part that is."""
    origin = settings.findings.sourced("tooth_wear_part", machine, strand).origin
    if math.isnan(diameter):
        return None, origin
    part = float(settings.findings.value("tooth_wear_part", machine, strand))
    return float(rounded(part * diameter, MM)), origin


def _days(lives: pd.DataFrame) -> tuple[Sequence[float], Sequence[float]]:
    return numbers(lives, "fitted_day").tolist(), numbers(lives, "removed_day").tolist()


def standing(checks: pd.DataFrame) -> NDArray[np.bool_]:
    """Whether each check gauged the sprocket that is now on its shaft, on the face that now works.

    A depth from before the sprocket was fitted, or from before it was reversed, is another face's.

    Parameters
    ----------
    checks : DataFrame
        Rows of the feed sprocket_checks, the checks of each sprocket in the order of their days.
    """
    latest = checks.groupby(["machine", "sprocket"], sort=False)[["reversed", "fitted_on_day"]].transform(
        "last"
    )
    fitted = numbers(latest, "fitted_on_day")
    return np.asarray(
        checks["gauge_depth_mm"].notna()
        & (yes(checks, "reversed") == yes(latest, "reversed"))
        & (np.isnan(fitted) | (numbers(checks, "checked_at_day") >= fitted)),
        dtype=bool,
    )


def in_order(checks: pd.DataFrame) -> pd.DataFrame:
    """The checks of each sprocket in the order of their days."""
    return checks.sort_values(["machine", "sprocket", "checked_at_day", "row_id"], kind="stable")


def _sprockets(checks: pd.DataFrame, machine: str, strands: Sequence[str]) -> Iterator[dict[str, Any]]:
    """What the checks say last of each sprocket of these strands, or of the machine without a strand."""
    if not len(checks):
        return
    its = checks.assign(strand=words(checks, "strand"), shaft=words(checks, "shaft"))
    its = in_order(its[(its["machine"] == machine) & its["strand"].isin([*strands, ""])])
    its = its.assign(standing=standing(its))
    for sprocket, group in its.groupby("sprocket", sort=True):
        last = group.iloc[-1]
        gauged = group[group["standing"]]
        teeth = _last(group, "teeth")
        yield {
            "sprocket": str(sprocket),
            "shaft": next((word for word in reversed(group["shaft"].tolist()) if word), ""),
            "strand": last["strand"],
            "teeth": None if teeth is None else int(teeth),
            "reversed": last["reversed"] == "yes",
            "fitted": _last(group, "fitted_on_day"),
            "depth": _last(gauged, "gauge_depth_mm"),
            "gauged": _last(gauged, "checked_at_day"),
        }


def _last(group: pd.DataFrame, column: str) -> float | None:
    known = group[column].dropna()
    return float(known.iloc[-1]) if len(known) else None


def _proof(one: Mapping[str, Any], limit: float | None, begun: float) -> str:
    """What the record proves; ``begun`` is the day on which the present chain began to wear the teeth."""
    if one["depth"] is None:
        return "not_gauged"
    if limit is None:
        return "no_diameter"
    if rounded(limit - one["depth"], MM) <= 0:
        return "worn_reversed" if one["reversed"] else "worn_reversible"
    if one["gauged"] <= begun < math.inf:
        return "gauged_before_chain"
    return "sound_reversed" if one["reversed"] else "sound"


def _served(spans: Iterable[Sequence[tuple[float, float]]], fitted: float | None) -> tuple[int | None, bool]:
    """Chains on a sprocket since its fitting day, the most of its strands, and whether there may be more."""
    if fitted is None:
        return None, False
    counts = [sum(end > fitted for _, end in lives) for lives in spans if lives]
    before = [min(begin for begin, _ in lives) > fitted for lives in spans if lives]
    return max(counts, default=None), any(before)


def _not_recorded(
    rows: Sequence[Row],
    lines: Sequence[SprocketLine],
    limits: Mapping[str, tuple[float | None, str]],
) -> Iterator[SprocketLine]:
    """The driving and tail sprockets of each strand that no check names."""
    for row in rows:
        name = str(row["strand"])
        named = {line.shaft for line in lines if name in line.strands}
        for shaft, column in _SHAFTS.items():
            if shaft not in named:
                teeth, (limit, origin) = row[column], limits[name]
                yield SprocketLine(
                    sprocket="",
                    shaft=shaft,
                    strands=(name,),
                    proof="not_recorded",
                    teeth=None if math.isnan(teeth) else int(teeth),
                    limit_mm=limit,
                    limit_origin=origin,
                )


def _day(number: float | None) -> date | None:
    return None if number is None else _EPOCH + timedelta(days=int(number))
