"""What the record knows of the sprockets that a set of chain runs on, and what follows for a new set.

Old teeth ruin a new chain, so a new set goes on sprockets that the gauge proved, or the order says which it
did not. Source: common practice, no source; that old sprockets wear new chain fast: MIL-HDBK-1164, p. 236.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from takeup.judgement.rule import MM, PERCENT, Row, numbers, rounded, words, yes

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from takeup.judgement.settings import JudgementSettings

_EPOCH = date(1970, 1, 1)
#: constructions whose rollers, not their barrels, meet the teeth
_ROLLERS = ("roller_conveyor", "offset_sidebar_roller", "roller_drive")
#: shafts of a strand that carry a sprocket, and the column of the register that counts its teeth
_SHAFTS = {"drive": "teeth_drive", "tail": "teeth_tail"}

#: columns of a check that are read
_NUMBERS = ("teeth", "fitted_on_day", "checked_at_day", "gauge_depth_mm", "machine_hours")
_CHECK = ("machine", "sprocket", "strand", "shaft", "reversed", "standing", *_NUMBERS)

#: what the record proves of a sprocket; the reader's words are ``words.toml``, table ``[sprocket_proof]``
PROOFS = (
    "worn_reversible", "worn_reversed", "sound", "sound_reversed", "not_gauged", "gauged_before_chain",
    "gauged_old", "no_diameter", "not_recorded",
)  # fmt: skip
#: the proofs under which no set should be fitted before the gauge has been on the teeth
UNPROVED = ("not_gauged", "gauged_before_chain", "gauged_old", "no_diameter", "not_recorded")


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


@dataclass(frozen=True)
class SprocketRecord:
    """Sprocket checks and lives, read once for all the sets that a night asks about.

    Attributes
    ----------
    checks : mapping
        Machine to the checks of its sprockets, those of each in the order of their days.
    lives : mapping
        Strand to (fitting day, day of removal), closed lives too; an open one never ends.
    settings : JudgementSettings
    """

    checks: Mapping[str, Sequence[Row]]
    lives: Mapping[str, Sequence[tuple[float, float]]]
    settings: JudgementSettings

    @classmethod
    def of(
        cls, checks: pd.DataFrame, lives: pd.DataFrame, strands: Collection[str], settings: JudgementSettings
    ) -> SprocketRecord:
        """The record of these strands and of the machines they are on.

        Parameters
        ----------
        checks : DataFrame
            Rows of the feed sprocket_checks.
        lives : DataFrame
            Columns ``strand``, ``machine``, ``fitted_day``, ``removed_day``.
        strands : collection of str
        settings : JudgementSettings
        """
        its = lives[lives["strand"].isin(strands)].sort_values(["strand", "fitted_day"], kind="stable")
        spans: dict[str, list[tuple[float, float]]] = defaultdict(list)
        ends = np.where(np.isnan(numbers(its, "removed_day")), np.inf, numbers(its, "removed_day"))
        for name, begin, end in zip(its["strand"], numbers(its, "fitted_day"), ends, strict=True):
            spans[name].append((float(begin), float(end)))
        found: dict[str, list[Row]] = defaultdict(list)
        if len(checks):
            known = in_order(checks[checks["machine"].isin(its["machine"])])
            known = known.assign(
                standing=standing(known),
                **{name: words(known, name) for name in ("strand", "shaft")},
                **{name: numbers(known, name) for name in _NUMBERS},
            )
            rows: list[Row] = known[list(_CHECK)].to_dict("records")  # type: ignore[assignment]
            for row in rows:
                found[row["machine"]].append(row)
        return cls(found, spans, settings)

    def lines(self, rows: Sequence[Row]) -> tuple[SprocketLine, ...]:
        """Every sprocket on record for the strands of one set, and each shaft that the record leaves out.

        Parameters
        ----------
        rows : sequence of mapping
            The set's rows of the prognosis.
        """
        names = [str(row["strand"]) for row in rows]
        limits = {str(row["strand"]): _limit(self.settings, row) for row in rows}
        machine = str(rows[0]["machine"]) if rows else ""
        lines = []
        for one in _sprockets(self.checks.get(machine, ()), names):
            over = (one["strand"],) if one["strand"] else tuple(names)
            limit, origin = min(
                (limits[name] for name in over), key=lambda it: math.inf if it[0] is None else it[0]
            )
            lives = [self.lives[name] for name in over if self.lives.get(name)]
            chains, at_least = _served(lives, one["fitted"])
            lines.append(
                SprocketLine(
                    sprocket=one["sprocket"],
                    shaft=one["shaft"],
                    strands=over,
                    proof=_proof(
                        one,
                        limit,
                        max((spans[-1][0] for spans in lives), default=-math.inf),
                        old=any(self._is_old(one["hours"], row) for row in rows if row["strand"] in over),
                    ),
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

    def _is_old(self, gauged_hours: float | None, row: Row) -> bool:
        """Whether the chain on a strand has worn on so far since its sprocket was gauged."""
        if gauged_hours is None:
            return False
        hours = float(row["hours_reckoned"]) + float(row["hours_at_fitting"]) - gauged_hours
        most = self.settings.findings.value("gauge_points", str(row["machine"]), str(row["strand"]))
        return bool(rounded(float(row["rate"]) * hours / 1000, PERCENT) > most)


def _limit(settings: JudgementSettings, row: Row) -> tuple[float | None, str]:
    """Depth at which a tooth under this strand is worn, None without a diameter, and whose part that is."""
    where = (str(row["machine"]), str(row["strand"]))
    origin = settings.findings.sourced("tooth_wear_part", *where).origin
    roller = row["construction"] in _ROLLERS
    diameter = float(row["roller_diameter_mm" if roller else "bushing_outside_mm"])
    if math.isnan(diameter):
        return None, origin
    part = float(settings.findings.value("tooth_wear_part", *where))
    return float(rounded(part * diameter, MM)), origin


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


def _sprockets(checks: Sequence[Row], strands: Sequence[str]) -> Iterator[dict[str, Any]]:
    """What the checks of a machine say last of each sprocket of these strands, or of none named."""
    groups: dict[str, list[Row]] = defaultdict(list)
    for check in checks:
        if check["strand"] in ("", *strands):
            groups[str(check["sprocket"])].append(check)
    for sprocket, group in groups.items():
        last = group[-1]
        gauged = [check for check in group if check["standing"]]
        teeth = _last(group, "teeth")
        yield {
            "sprocket": sprocket,
            "shaft": next((check["shaft"] for check in reversed(group) if check["shaft"]), ""),
            "strand": last["strand"],
            "teeth": None if teeth is None else int(teeth),
            "reversed": last["reversed"] == "yes",
            "fitted": _last(group, "fitted_on_day"),
            "depth": _last(gauged, "gauge_depth_mm"),
            "gauged": _last(gauged, "checked_at_day"),
            "hours": _last(gauged[-1:], "machine_hours"),
        }


def _last(checks: Sequence[Row], column: str) -> float | None:
    """The newest value that is known."""
    known = [row[column] for row in checks if row[column] == row[column]]
    return float(known[-1]) if known else None


def _proof(one: Mapping[str, Any], limit: float | None, begun: float, *, old: bool) -> str:
    """What the record proves; ``begun`` is the day on which the present chain began to wear the teeth.

    ``old``: the chain has worn on so far since the gauging that it proves a tooth worn, and none sound.
    """
    if one["depth"] is None:
        return "not_gauged"
    if limit is None:
        return "no_diameter"
    if rounded(limit - one["depth"], MM) <= 0:
        return "worn_reversed" if one["reversed"] else "worn_reversible"
    if one["gauged"] <= begun:
        return "gauged_before_chain"
    if old:
        return "gauged_old"
    return "sound_reversed" if one["reversed"] else "sound"


def _served(lives: Sequence[Sequence[tuple[float, float]]], fitted: float | None) -> tuple[int | None, bool]:
    """Chains on a sprocket since its fitting day, the most of its strands, and whether there may be more."""
    if fitted is None:
        return None, False
    counts = [sum(end > fitted for _, end in spans) for spans in lives]
    return max(counts, default=None), any(spans[0][0] > fitted for spans in lives)


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
