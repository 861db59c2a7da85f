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
from takeup.derive.setaside import Aside, percent, standing
from takeup.derive.settings import MeasuringSettings
from takeup.derive.takeups import Travels
from takeup.derive.trust import Growth, Means, doubt, doubt_of, means, series
from takeup.wear.arguments import Flags, Whole

_FAR = 6.0  # u of one reading: 3 U


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
    tolerance = register.lives["tolerance_percent"].to_numpy(np.float64)
    usable = np.flatnonzero(stands & ~np.isnan(readings.e_geo))
    bounds = np.searchsorted(readings.life[usable], np.arange(len(register.lives) + 1))
    asides: list[Aside] = []
    dropped: dict[int, Note] = {}
    for life in _falling(readings, stands).tolist():
        places = usable[bounds[life] : bounds[life + 1]]
        walk = _Life.of(readings, places, float(tolerance[life]), travels, settings)
        walk.go()
        asides += walk.asides
        dropped |= walk.notes
    left = means(readings, standing(stands, asides))
    return asides, dict.fromkeys(_a_little(left).tolist(), Note.DROPPED_A_LITTLE) | dropped


def _falling(readings: Readings, stands: Flags) -> Whole:
    """The lives in which a mark, or a survey as a whole, falls beyond the uncertainty."""
    order, starts = series(readings, stands)
    e, u = readings.e_geo[order], readings.u_geo[order]
    fell = np.zeros(order.size, dtype=bool)
    fell[1:] = np.diff(e) < -doubt(u[1:], u[:-1])
    fell[starts[:-1]] = False
    whole = means(readings, stands)
    sank = np.flatnonzero(whole.step < -whole.step_doubt)
    return np.unique(np.concatenate((readings.life[order[fell]], whole.life[sank])))


def _a_little(whole: Means) -> Whole:
    """Surveys that lie lower as a whole by more than one u, within the uncertainty."""
    step, room = whole.step, whole.step_doubt
    return whole.survey[(step < -whole.u) & (step >= -room)]


@dataclass
class _Life:
    """The standing readings of one life, walked survey by survey; lists, because they are looked at singly.

    ``last`` is the trusted reading of each mark; ``middle`` the middle one of the last survey, which stands
    in where a survey has no mark in common with those before (a chain with new paint on it).
    """

    places: list[int]
    life: int
    survey: list[int]
    mark: list[int]
    day: list[int]
    hours: list[float]
    e: list[float]
    u: list[float]
    confirmed: list[bool]
    tolerance: float
    travels: Travels
    growth: Growth
    settings: MeasuringSettings
    last: dict[int, int] = field(default_factory=dict)
    middle: int = -1
    fallen_before: dict[int, int] = field(default_factory=dict)
    left_out: set[int] = field(default_factory=set)
    is_new_chain: bool = False
    asides: list[Aside] = field(default_factory=list)
    notes: dict[int, Note] = field(default_factory=dict)

    @classmethod
    def of(
        cls, its: Readings, places: Whole, tolerance: float, travels: Travels, settings: MeasuringSettings
    ) -> _Life:
        """The walk over these readings, which are sorted by survey."""
        columns = (its.survey, its.mark, its.day, its.hours, its.e_geo, its.u_geo, its.confirmed)
        survey, mark, day, hours, e, u, confirmed = (column[places].tolist() for column in columns)
        life, growth = int(its.life[places[0]]), Growth.of(settings)
        return cls(
            places.tolist(),
            life,
            survey,
            mark,
            day,
            hours,
            e,
            u,
            confirmed,
            tolerance,
            travels,
            growth,
            settings,
        )

    def go(self) -> None:
        """Walk all surveys."""
        surveys: list[list[int]] = []
        for spot, survey in enumerate(self.survey):
            if spot and survey == self.survey[spot - 1]:
                surveys[-1].append(spot)
            else:
                surveys.append([spot])
        for number, its in enumerate(surveys):
            self.take(its, surveys[number + 1 :])

    def take(self, its: list[int], later: list[list[int]]) -> None:
        if self.left_out:
            for spot in its:
                if self.mark[spot] in self.left_out:
                    self.put(spot, Reason.MARK_FELL, "the mark is left out since new links were fitted there")
            its = [spot for spot in its if self.mark[spot] not in self.left_out]
        compared = [spot for spot in its if self.mark[spot] in self.last] or (its if self.last else [])
        fallen = [spot for spot in compared if self.below(spot)]
        if not fallen:
            self.is_new_chain = False
            self.accept(its)
        elif all(self.confirmed[spot] for spot in fallen):
            self.stand(its)
        elif len(fallen) == len(compared):
            self.all_fell(its, compared, later)
        else:
            self.some_fell(its, fallen, len(compared))

    def all_fell(self, its: list[int], compared: list[int], later: list[list[int]]) -> None:
        reads_new = self.reads_new(compared)
        if not (reads_new or self.is_new_chain) and self.goes_on(compared, later):
            self.stand(its)
            return
        self.is_new_chain |= reads_new
        reason = Reason.FALLS_TO_NEW if self.is_new_chain else Reason.NEGATIVE_WEAR
        # A mark that was not measured before and stands higher than all others did is no part of the fall.
        top = max(self.e[self.was(spot)] for spot in compared)
        higher = [spot for spot in its if spot not in compared and self.e[spot] > top]
        for spot in its:
            if spot not in higher:
                self.put(spot, reason, self.before(spot))
        self.accept(higher)

    def some_fell(self, its: list[int], fallen: list[int], compared: int) -> None:
        """Most marks fell: a poor pull, the rest stands. Few fell, and far: new links there.

        Of many marks some fall by two sigma now and then, so a mark alone must fall by 3 U.
        """
        few = 2 * len(fallen) <= compared
        if few:
            fallen = [spot for spot in fallen if self.fell_far(spot)]
        for spot in fallen:
            mark = self.mark[spot]
            self.put(spot, Reason.MARK_FELL if few else Reason.NEGATIVE_WEAR, self.before(spot))
            self.fallen_before[mark] = self.fallen_before.get(mark, 0) + 1 if few else 0
            if self.fallen_before[mark] > 1:
                self.left_out.add(mark)
        self.accept([spot for spot in its if spot not in fallen])

    def reads_new(self, compared: list[int]) -> bool:
        """Whether all fell by more than 3 U to the length of a new chain, the take-up not contradicting."""
        mean = sum(self.e[spot] for spot in compared) / len(compared)
        before = [self.was(spot) for spot in compared]
        was = sum(self.e[spot] for spot in before) / len(before)
        u = max(self.u[spot] for spot in compared)
        if not (was - mean > _FAR * u and mean <= self.tolerance + 2.0 * u):
            return False
        since, until = max(self.day[spot] for spot in before), self.day[compared[0]]
        return self.travels.back_at_start(self.life, since, until, self.settings.new_takeup_part) is not False

    def goes_on(self, compared: list[int], later: list[list[int]]) -> bool:
        """Whether the next survey of another day, below the old line too, goes on from this one."""
        here = {self.mark[spot]: spot for spot in compared}
        for following in later:
            pairs = [(here[self.mark[spot]], spot) for spot in following if self.mark[spot] in here]
            if self.day[following[0]] > self.day[compared[0]] and pairs:
                return all(self.below(after) and self.follows(spot, after) for spot, after in pairs)
        return False

    def fell_far(self, spot: int) -> bool:
        was = self.was(spot)
        return self.e[was] - self.e[spot] > _FAR * max(self.u[spot], self.u[was])

    def follows(self, spot: int, after: int) -> bool:
        room = doubt_of(self.u[spot], self.u[after])
        most = room + self.growth.most(self.hours[spot], self.hours[after])
        return -room <= self.e[after] - self.e[spot] <= most

    def below(self, spot: int) -> bool:
        """Whether a reading lies below the trusted one beyond the uncertainty."""
        was = self.was(spot)
        apart = 0.0 if self.mark[spot] in self.last else self.settings.marks_apart_points
        return self.e[spot] < self.e[was] - doubt_of(self.u[spot], self.u[was]) - apart

    def was(self, spot: int) -> int:
        """The trusted reading that one is held against."""
        return self.last.get(self.mark[spot], self.middle)

    def stand(self, its: list[int]) -> None:
        self.notes[self.survey[its[0]]] = Note.DROPPED
        self.accept(its)

    def accept(self, its: list[int]) -> None:
        if its:
            by_size = sorted(its, key=lambda spot: (self.e[spot], spot))
            self.middle = by_size[(len(by_size) - 1) // 2]
        for spot in its:
            self.last[self.mark[spot]] = spot
            self.fallen_before[self.mark[spot]] = 0

    def put(self, spot: int, reason: Reason, wanted: str) -> None:
        self.asides.append(Aside(self.places[spot], reason, "length_mm", percent(self.e[spot]), wanted))

    def before(self, spot: int) -> str:
        return f"{percent(self.e[self.was(spot)])} or more, as before"
