"""Every night of a history told again under several settings at once, each from the night before it.

A night derives only the machines for which something arrived, and judges only those and the ones that pass a
mark (:mod:`.clocks`); the nights between two renewals of the record of past forecasts are judged in one
vector pass. Orders follow night by night, in the same book of orders that a night writes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from takeup.derive.derivation import ASIDE_CACHE, EPOCH, SURVEY_CACHE, derive
from takeup.derive.state import state
from takeup.judgement.fleet import fleet_record
from takeup.judgement.nights import JudgedNight, Part, fit_for_many, judge_nights, stacked
from takeup.model import Feed
from takeup.night.progress import Progress, unwatched
from takeup.retell.clocks import clocks, passed
from takeup.retell.pastrows import EVERYBODY, PastRows

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from takeup.derive.derivation import Derived
    from takeup.judgement.rule import Rule
    from takeup.retell.closed import Known
    from takeup.site.settings import Settings
    from takeup.wear.calibration import FleetTable

#: most strand-nights judged in one pass; it bounds the memory
MOST_AT_ONCE = 20_000
_MIDDAY = 0.5


@dataclass(frozen=True)
class Variant:
    """Settings and rules under which a history is told."""

    settings: Settings
    rules: Sequence[Rule]


class Anew(NamedTuple):
    """Groups that a night judged anew, and their answers; None where no chain of theirs runs."""

    groups: NDArray[np.int64]
    judged: JudgedNight | None


class ToldNight(NamedTuple):
    """What one night judged anew under one variant; all other answers stand."""

    day: int
    anew: list[Anew]


@dataclass
class Counts:
    """How much was done: machines derived and strands judged, of so many strand-nights."""

    derived: int = 0
    judged: int = 0
    strand_nights: int = 0


@dataclass
class _Derived:
    """A night's derivation of some groups, kept until its batch is judged."""

    day: int
    derived: Derived
    touched: NDArray[np.int64]
    state: pd.DataFrame
    groups: NDArray[np.int64]
    until: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))


def told_nights(
    past: PastRows,
    nights: Sequence[int],
    variants: Sequence[Variant],
    known: Mapping[int, Known],
    *,
    skip: bool = True,
    counts: Counts | None = None,
    progress: Progress = unwatched,
) -> Iterator[tuple[ToldNight, ...]]:
    """Tell nights under every variant; all variants must weigh readings and lubrication alike.

    Parameters
    ----------
    past : PastRows
    nights : sequence of int
        Day numbers, rising.
    variants : sequence of Variant
    known : mapping
        Day number of a night to the close-outs as done that were known on it.
    skip : bool
        Leave out what cannot have changed; False judges every strand on every night.
    counts : Counts, optional
        Where to count what was done.
    progress : callable

    Yields
    ------
    tuple of ToldNight
        One a variant, night after night.
    """
    counts = counts if counts is not None else Counts()
    first = variants[0].settings
    caches: dict[str, pd.DataFrame] = {}
    for batch in _batches(past, nights):
        kept: list[_Derived] = []
        fleets: list[FleetTable] = []
        for place in batch:
            day = nights[place]
            before = nights[place - 1] if place else day - 1
            groups = _touched(past, before, day, everybody=place == batch[0])
            progress("nights", place, len(nights))
            if not groups.any():
                continue
            derived = _derive(past, groups, place, day, before, first, caches)
            told = state(derived, _date(day))
            kept.append(_Derived(day, derived, np.flatnonzero(groups), told, past.group_of(told["strand"])))
            counts.derived += int(groups.sum())
            if place == batch[0]:
                fleets = [
                    fleet_record(
                        1,
                        _date(day).isoformat(),
                        derived.lives,
                        derived.surveys,
                        derived.machines,
                        variant.settings.judgement,
                    )
                    for variant in variants
                ]
        days = [nights[place] for place in batch]
        yield from _judged(kept, days, variants, fleets, known, skip, counts)
    progress("nights", len(nights), len(nights))


def _batches(past: PastRows, nights: Sequence[int]) -> Iterator[list[int]]:
    """Places of nights of one month with the same register of planned stops."""
    batch: list[int] = []
    for place, day in enumerate(nights):
        if batch:
            before = nights[place - 1]
            months = [(_date(each).year, _date(each).month) for each in (before, day)]
            stops = past.changed(before, day, (Feed.SHUTDOWNS,))
            if months[0] != months[1] or stops.size:
                yield batch
                batch = []
        batch.append(place)
    if batch:
        yield batch


def _touched(past: PastRows, before: int, day: int, *, everybody: bool) -> NDArray[np.bool_]:
    """The groups that a night must derive: something arrived, or dates are reckoned from another Monday."""
    groups = np.zeros(past.groups, dtype=bool)
    changed = past.changed(before, day)
    if everybody or EVERYBODY in changed or _monday(before) != _monday(day):
        groups[:] = True
    else:
        groups[changed] = True
    return groups


def _monday(day: int) -> int:
    return day - (day + 3) % 7  # 1970-01-01 was a Thursday


def _derive(
    past: PastRows,
    groups: NDArray[np.bool_],
    place: int,
    day: int,
    before: int,
    settings: Settings,
    caches: dict[str, pd.DataFrame],
) -> Derived:
    view = past.seen_by(groups, day, before)
    mine = past.strands_of(np.flatnonzero(groups))
    for name, frame in caches.items():
        view.caches[name] = frame.loc[frame["strand"].isin(mine)].reset_index(drop=True)
    derived = derive(
        view,
        night=place + 1,
        as_of=_date(day),
        previous_as_of=_date(before),
        settings=settings.measuring,
        lubrication=settings.judgement.lubrication,
        everything=not caches,
    )
    for name in (SURVEY_CACHE, ASIDE_CACHE):
        fresh = derived.caches[name]
        if name not in caches:
            caches[name] = fresh
        elif derived.touched_strands:
            old = caches[name]
            parts = [old.loc[~old["strand"].isin(derived.touched_strands)], fresh]
            filled = [part for part in parts if len(part)] or parts[:1]
            caches[name] = pd.concat(filled, ignore_index=True)
    return derived


def _judged(
    kept: list[_Derived],
    days: Sequence[int],
    variants: Sequence[Variant],
    fleets: Sequence[FleetTable],
    known: Mapping[int, Known],
    skip: bool,
    counts: Counts,
) -> Iterator[tuple[ToldNight, ...]]:
    """The answers of a batch of nights: first where something arrived, then where a mark is passed."""
    _stand_until(kept, days[-1] + 1)
    rules = [fit_for_many(variant.rules) for variant in variants]
    running = [each for each in kept if len(each.state)]
    arrived = [Part(each.day, each.state, each.derived, known[each.day].history) for each in running]
    first = _answers(arrived, variants, fleets, known, rules)
    more: list[tuple[NDArray[np.int64], Part]] = []
    for at, each in enumerate(running):
        more += _between(each, [told[at] for told in first], days, variants, known, skip=skip)
    more.sort(key=lambda one: one[1].day)
    counts.judged += sum(len(part.state) for part in (*arrived, *(part for _, part in more)))
    counts.strand_nights += sum(
        int(((each.until[:, None] > np.array(days)) & (np.array(days) >= each.day)).sum()) for each in running
    )
    again = _answers([part for _, part in more], variants, fleets, known, rules)
    told = []
    for judged, later in zip(first, again, strict=True):
        by_day: dict[int, list[Anew]] = {day: [] for day in days}
        for each in kept:
            if not len(each.state):
                by_day[each.day].append(Anew(each.touched, None))
        for each, answers in zip(running, judged, strict=True):
            by_day[each.day].append(Anew(each.touched, answers))
        for (groups, _), answers in zip(more, later, strict=True):
            by_day[answers.day].append(Anew(groups, answers))
        told.append(by_day)
    for day in days:
        yield tuple(ToldNight(day, by_day[day]) for by_day in told)


def _stand_until(kept: list[_Derived], end: int) -> None:
    """Until which day each strand of a derivation stands: the next one of its group."""
    following: dict[int, int] = {}
    for each in reversed(kept):
        each.until = np.array([following.get(group, end) for group in each.groups.tolist()], dtype=np.int64)
        following.update(dict.fromkeys(each.groups.tolist(), each.day))


def _answers(
    parts: Sequence[Part],
    variants: Sequence[Variant],
    fleets: Sequence[FleetTable],
    known: Mapping[int, Known],
    rules: Sequence[Sequence[Rule]],
) -> list[list[JudgedNight]]:
    """All parts judged under each variant, so many strands at once."""
    found: list[list[JudgedNight]] = [[] for _ in variants]
    for chunk in _chunks(parts, known):
        given, closed = stacked(chunk), known[chunk[0].day].closed
        for its, variant, fleet, rule in zip(found, variants, fleets, rules, strict=True):
            its.extend(judge_nights(given, fleet, variant.settings.judgement, closed, rule))
    return found


def _chunks(parts: Sequence[Part], known: Mapping[int, Known]) -> Iterator[list[Part]]:
    """Parts that fit into memory together and know of the same closed findings."""
    chunk: list[Part] = []
    for part in parts:
        full = sum(len(each.state) for each in chunk) + len(part.state) > MOST_AT_ONCE
        if chunk and (full or known[chunk[0].day].closed is not known[part.day].closed):
            yield chunk
            chunk = []
        chunk.append(part)
    if chunk:
        yield chunk


def _between(
    each: _Derived,
    judged: list[JudgedNight],
    days: Sequence[int],
    variants: Sequence[Variant],
    known: Mapping[int, Known],
    *,
    skip: bool,
) -> Iterator[tuple[NDArray[np.int64], Part]]:
    """Nights after a derivation on which some of its groups have to be judged again."""
    marks = [
        clocks(told, each.derived.shutdowns, variant.settings.judgement)
        for told, variant in zip(judged, variants, strict=True)
    ]
    before, ran = each.day, each.state["hours_now"].to_numpy(dtype=np.float64)
    machine = each.state["machine"].to_numpy(dtype=object)
    fitted = each.state["hours_at_fitting"].to_numpy(dtype=np.float64)
    last = int(each.until.max())
    for day in (day for day in days if each.day < day < last):
        now = np.maximum(
            each.derived.meters.hours_at(machine, np.full(len(machine), day + _MIDDAY))[0] - fitted, 0
        )
        stands = each.until > day
        if skip:
            hit = np.zeros(len(machine), dtype=bool)
            for its in marks:
                hit |= passed(its, ran, now, before, day)
            wanted = stands & np.isin(each.groups, each.groups[hit & stands])
        else:
            wanted = stands
        if wanted.any():
            told = state(each.derived, _date(day))
            part = Part(day, told.loc[wanted].reset_index(drop=True), each.derived, known[day].history)
            yield np.unique(each.groups[wanted]), part
        before, ran = day, now


def _date(day: int) -> date:
    return EPOCH + timedelta(days=day)
