"""The evidence of one strand: its lives, surveys and marks, and what happened to it, on one axis of time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from takeup.documents.sheets import StrandSeries


@dataclass(frozen=True)
class LifeLine:
    """One chain on the strand. ``hours`` are its run hours up to its removal or the day told."""

    fitted_on: date
    removed_on: date | None
    hours: float | None
    surveys: int


@dataclass(frozen=True)
class MarkLine:
    """One mark of one survey. ``length_mm`` is as written, None for a reading in per cent only."""

    mark: str
    pitches: float | None
    length_mm: float | None
    percent: float | None
    stands: bool
    file: str
    line: int


@dataclass(frozen=True)
class SurveyLine:
    """One survey of any life of the strand, with its marks.

    ``percent`` is the mean of the marks that stand, from the zero of its life, ``uncertainty_percent`` its
    expanded uncertainty; ``note`` is a survey note of ``derive`` or blank.
    """

    fitted_on: date
    on: date
    occasion: str
    hours: float | None
    percent: float | None
    uncertainty_percent: float | None
    usable: bool
    for_rate: bool
    note: str
    marks: tuple[MarkLine, ...] = ()


@dataclass(frozen=True)
class Event:
    """Something that happened to the strand; ``kind`` names its sentence under ``sentences/event``.

    ``until`` is the day on which it ended, for what lasts; None while it lasts or for what took one day.
    """

    on: date
    kind: str
    facts: dict[str, Any]
    until: date | None = None


@dataclass(frozen=True)
class StrandEvidence:
    """Everything that is known of a strand from its first life on.

    ``series`` are surveys, limits and forecast of the chain that runs, None where none runs; ``as_of`` is the
    day up to which it is told.
    """

    strand: str
    as_of: date
    series: StrandSeries | None
    lives: tuple[LifeLine, ...]
    surveys: tuple[SurveyLine, ...]
    events: tuple[Event, ...]
