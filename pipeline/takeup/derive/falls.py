"""Readings that fall: a chain does not grow shorter.

A fall within the uncertainty stays, with a note. Beyond it, the marks that fell are set aside: as new links
where the other marks went on, as the reading of a new chain where all fall to new and the take-up with
them, else as negative wear. A fall that a later survey or a repeat confirms stands (another pull, cleaned
joints, or a high reading before it); a fall to new never does, because only the register opens a life.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from takeup.derive.lives import Register
from takeup.derive.readings import Readings
from takeup.derive.reasons import Note, Reason
from takeup.derive.setaside import Aside, percent
from takeup.derive.settings import MeasuringSettings
from takeup.derive.takeups import Travels
from takeup.derive.trust import Growth, doubt, series
from takeup.wear.arguments import Flags


def falls(
    readings: Readings, stands: Flags, register: Register, travels: Travels, settings: MeasuringSettings
) -> tuple[list[Aside], dict[int, Note]]:
    """Readings that fall beyond their uncertainty, and notes of surveys that fell and stand.

    Parameters
    ----------
    readings : Readings
    stands : (n,) bool
    register : Register
    travels : Travels
        Take-up readings, which tell a new chain from a bad reading.
    settings : MeasuringSettings

    Returns
    -------
    asides : list of Aside
    notes : dict
        Place of a survey to its note.
    """
    order, starts = series(readings, stands)
    fell = np.zeros(order.size, dtype=bool)
    if order.size:
        fell[1:] = np.diff(readings.e_geo[order]) < 0
        fell[starts[:-1]] = False
    tolerance = register.lives["tolerance_percent"].to_numpy(np.float64)
    asides: list[Aside] = []
    notes: dict[int, Note] = {}
    by_life = np.flatnonzero(stands & ~np.isnan(readings.e_geo))
    bounds = np.searchsorted(readings.life[by_life], np.arange(len(register.lives) + 1))
    for life in np.unique(readings.life[order[fell]]).tolist():
        walk = _Life(readings, life, float(tolerance[life]), travels, Growth.of(settings), settings)
        walk.go(by_life[bounds[life] : bounds[life + 1]].tolist())
        asides += walk.asides
        notes |= walk.notes
    return asides, notes


@dataclass
class _Life:
    """One life walked survey by survey.

    ``last`` is the trusted reading of each mark; ``middle`` the middle one of the last survey, which stands
    in where a survey has no mark in common with those before (a chain with new paint on it).
    """

    readings: Readings
    life: int
    tolerance: float
    travels: Travels
    growth: Growth
    settings: MeasuringSettings
    last: dict[int, int] = field(default_factory=dict)
    fallen_before: dict[int, int] = field(default_factory=dict)
    left_out: set[int] = field(default_factory=set)
    new_from: int | None = None
    middle: int | None = None
    last_day: int = 0
    asides: list[Aside] = field(default_factory=list)
    notes: dict[int, Note] = field(default_factory=dict)

    def go(self, places: list[int]) -> None:
        """Walk the standing readings, sorted by survey."""
        surveys: dict[int, list[int]] = {}
        for place in places:
            surveys.setdefault(int(self.readings.survey[place]), []).append(place)
        line = list(surveys.items())
        for spot, (survey, its) in enumerate(line):
            self.take(survey, its, line[spot + 1 :])

    def take(self, survey: int, its: list[int], later: list[tuple[int, list[int]]]) -> None:
        for place in [place for place in its if self.mark(place) in self.left_out]:
            self.put(
                place, Reason.MARK_FELL, "the mark is left out: new links seem to have been fitted there"
            )
        its = [place for place in its if self.mark(place) not in self.left_out]
        compared = [place for place in its if self.mark(place) in self.last] or (its if self.last else [])
        fallen = [place for place in compared if self.below(place)]
        if not fallen:
            self.new_from = None
            self.note_small_fall(survey, compared)
            self.accept(its)
        elif all(self.readings.confirmed[place] for place in fallen):
            self.stand(survey, its)
        elif len(fallen) == len(compared):
            self.all_fell(survey, its, compared, later)
        else:
            self.some_fell(its, fallen, len(compared))

    def all_fell(
        self, survey: int, its: list[int], compared: list[int], later: list[tuple[int, list[int]]]
    ) -> None:
        new = self.is_new(survey, compared)
        if not new and self.new_from is None and self.goes_on(compared, later):
            self.stand(survey, its)
            return
        if new and self.new_from is None:
            self.new_from = survey
        reason = Reason.NEGATIVE_WEAR if self.new_from is None else Reason.FALLS_TO_NEW
        top = max(self.readings.e_geo[self.was(place)] for place in compared)
        higher = [place for place in its if place not in compared and self.readings.e_geo[place] > top]
        for place in its:
            if place not in higher:
                self.put(place, reason, self.before(place) if place in compared else "")
        self.accept(higher)

    def some_fell(self, its: list[int], fallen: list[int], compared: int) -> None:
        """Few marks fell while others went on: new links there. Most fell: a poor pull, the rest stands."""
        few = 2 * len(fallen) <= compared
        for place in fallen:
            mark = self.mark(place)
            self.put(place, Reason.MARK_FELL if few else Reason.NEGATIVE_WEAR, self.before(place))
            self.fallen_before[mark] = self.fallen_before.get(mark, 0) + 1 if few else 0
            if self.fallen_before[mark] > 1:
                self.left_out.add(mark)
        self.accept([place for place in its if place not in fallen])

    def is_new(self, survey: int, compared: list[int]) -> bool:
        """All fell by more than 3 U to the length of a new chain, and the take-up does not contradict."""
        its = self.readings
        mean = float(np.mean(its.e_geo[compared]))
        u = float(np.max(its.u_geo[compared]))
        was = float(np.mean([its.e_geo[self.was(place)] for place in compared]))
        if not (was - mean > 6.0 * u and mean <= self.tolerance + 2.0 * u):
            return False
        back = self.travels.back_at_start(
            self.life, self.last_day, int(its.surveys.day[survey]), self.settings.new_takeup_part
        )
        return back is not False

    def goes_on(self, compared: list[int], later: list[tuple[int, list[int]]]) -> bool:
        """Whether the next survey of another day, below the old line too, goes on from this one."""
        its = self.readings
        here = {self.mark(place): place for place in compared}
        day = its.day[compared[0]]
        for _, following in later:
            pairs = [(here[self.mark(place)], place) for place in following if self.mark(place) in here]
            if its.day[following[0]] == day or not pairs:
                continue
            return all(
                -room
                <= its.e_geo[after] - its.e_geo[place]
                <= room + self.growth.most(its.hours[place], its.hours[after])
                and self.below(after)
                for place, after in pairs
                for room in (float(doubt(its.u_geo[place], its.u_geo[after])),)
            )
        return False

    def below(self, place: int) -> bool:
        its, was = self.readings, self.was(place)
        apart = 0.0 if self.mark(place) in self.last else self.settings.marks_apart_points
        return bool(its.e_geo[place] < its.e_geo[was] - doubt(its.u_geo[place], its.u_geo[was]) - apart)

    def was(self, place: int) -> int:
        """The trusted reading that one is held against."""
        stand_in = self.middle if self.middle is not None else place
        return self.last.get(self.mark(place), stand_in)

    def note_small_fall(self, survey: int, compared: list[int]) -> None:
        """A survey that lies lower as a whole by more than one u, within the uncertainty."""
        if not compared:
            return
        its = self.readings
        fall = float(np.mean([its.e_geo[self.was(place)] - its.e_geo[place] for place in compared]))
        if fall > float(np.max(its.u_geo[compared])):
            self.notes[survey] = Note.DROPPED_A_LITTLE

    def stand(self, survey: int, its: list[int]) -> None:
        self.notes[survey] = Note.DROPPED
        self.accept(its)

    def accept(self, its: list[int]) -> None:
        by_size = sorted(its, key=lambda place: (self.readings.e_geo[place], place))
        self.middle = by_size[(len(by_size) - 1) // 2] if by_size else self.middle
        for place in its:
            self.last[self.mark(place)] = place
            self.fallen_before[self.mark(place)] = 0
            self.last_day = int(self.readings.day[place])

    def put(self, place: int, reason: Reason, wanted: str) -> None:
        self.asides.append(Aside(place, reason, "length_mm", percent(self.readings.e_geo[place]), wanted))

    def before(self, place: int) -> str:
        return f"{percent(self.readings.e_geo[self.was(place)])} or more, as before"

    def mark(self, place: int) -> int:
        return int(self.readings.mark[place])
