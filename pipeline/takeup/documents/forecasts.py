"""The page with the record of past forecasts: what the bounds of every forecast rest on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from takeup.documents.sentences import sentence
from takeup.documents.sheets import CalibrationCell, CalibrationRecord
from takeup.wear.calibration import STAGES

if TYPE_CHECKING:
    from jinja2 import Environment


@dataclass(frozen=True)
class CellLine:
    """One cell of the record with its stage in words."""

    cell: CalibrationCell
    stage: str


@dataclass(frozen=True)
class CellGroup:
    """The cells of chains with, or without, a wear rate of their own."""

    says: str
    lines: tuple[CellLine, ...]


def forecasts_page(env: Environment, record: CalibrationRecord) -> str:
    """The record as an HTML page."""
    groups = [
        CellGroup(
            sentence(env, "night", code),
            tuple(CellLine(cell, stage_range(cell.stage)) for cell in record.cells if cell.own is own),
        )
        for own, code in ((True, "forecasts_own"), (False, "forecasts_borrowed"))
    ]
    return env.get_template("forecasts.html.j2").render(
        record=record, groups=[group for group in groups if group.lines]
    )


def stage_range(stage: int) -> str:
    """A stage of life as parts of the limit.

    Examples
    --------
    >>> stage_range(0), stage_range(1), stage_range(4)
    ('up to 25 %', '25 to 50 %', '85 % and more')
    """
    edges = [round(100 * edge) for edge in STAGES]
    if stage == 0:
        return f"up to {edges[0]} %"
    if stage == len(edges):
        return f"{edges[-1]} % and more"
    return f"{edges[stage - 1]} to {edges[stage]} %"
