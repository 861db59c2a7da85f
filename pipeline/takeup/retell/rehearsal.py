"""A rehearsal: a site's whole history under changed settings, beside the present ones and what happened.

Every past night sees what was known then and no more (:mod:`.pastrows`). The store is read once and let go.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from takeup.audit import forecasts, happened
from takeup.audit.happened import ChainEnd, Fracture, Worn
from takeup.audit.rehearsal import Reached, Rehearsal, SettingChange, Side
from takeup.audit.spells import spells
from takeup.derive.derivation import EPOCH, Derived, derive
from takeup.derive.vocabulary import VOCABULARY
from takeup.errors import UsageError
from takeup.judgement.fleet import levels
from takeup.judgement.rules import registered, wear_limit
from takeup.layered import Layered, told_of
from takeup.model import Answer, Feed
from takeup.night.progress import Progress, unwatched
from takeup.retell.book import RehearsedBook
from takeup.retell.closed import Closed, Known, closed_orders, known_on
from takeup.retell.nights import Counts, Variant, told_nights
from takeup.retell.pastrows import PastRows
from takeup.site.reading import reading_store
from takeup.site.settings import Settings, read_settings

if TYPE_CHECKING:
    from takeup.judgement.nights import JudgedNight
    from takeup.site import Site

#: a first load that brought more than this at once is told as one [d]
_MUCH_DAYS = 31


def rehearse(
    site: Site,
    *,
    settings: Path | None = None,
    new_rules: Sequence[str] = (),
    begins: date | None = None,
    ends: date | None = None,
    every: int = 1,
    wait_seconds: float | None = None,
    progress: Progress = unwatched,
) -> Rehearsal:
    """What other settings, or a rule of the site's own, would have done to the whole history.

    Parameters
    ----------
    site : Site
    settings : Path, optional
        A whole settings file to hold against the site's own.
    new_rules : sequence of str
        Names of installed rules to leave out of the present side.
    begins, ends : date, optional
        First and last night; by default the first reading known and the last night told.
    every : int
        Days from night to night.
    wait_seconds : float, optional
        How long to wait for a writer; by default what the site's settings say. [s]
    progress : callable

    Raises
    ------
    UsageError
        If no night was told yet, nothing is changed, or the days leave no night.
    SettingsError
        If the proposed settings do not read.
    LockHeld
        If the site is being written all that time.
    """
    last = date.fromisoformat(site.nights()[-1]["as_of"])
    present, proposed = _variants(site, settings, new_rules)
    with reading_store(site.folders, "rehearse", site.wait(wait_seconds)) as store:
        past = PastRows(store)
        book = store.orders()
    first = EPOCH + timedelta(days=past.first_day)
    nights = _nights(begins or first, ends or last, every, first, last)
    closed = closed_orders(past, book, nights[-1])
    known = known_on(closed, nights)
    counts = Counts()
    together = _weigh_alike(present.settings, proposed.settings)
    runs = [[present, proposed]] if together else [[present], [proposed]]
    told = [one for run in runs for one in _histories(past, nights, run, known, closed, counts, progress)]
    sides = []
    for variant, (orders, made) in zip((present, proposed), told, strict=True):
        at_end = _as_known_at_the_end(past, nights[-1], variant.settings)
        sides.append(_side(orders, made, at_end, variant.settings, present.settings, nights))
    return Rehearsal(
        site=site.settings.name,
        begins=EPOCH + timedelta(days=nights[0]),
        ends=EPOCH + timedelta(days=nights[-1]),
        every=every,
        nights=len(nights),
        changes=tuple(_changes(present.settings, proposed.settings)),
        new_rules=tuple(new_rules),
        first_loads=past.first_loads(_MUCH_DAYS),
        known_all_along=past.known_all_along(),
        strands=past.strands,
        strand_nights=counts.strand_nights // len(runs),
        judged=counts.judged // len(runs),
        present=sides[0],
        proposed=sides[1],
    )


def _variants(site: Site, settings: Path | None, new_rules: Sequence[str]) -> tuple[Variant, Variant]:
    rules = registered()
    unknown = sorted(set(new_rules) - {rule.name for rule in rules})
    if unknown:
        raise UsageError(
            f"no rule is called {unknown[0]!r}",
            why="A rule of the site's own is an entry point of the group takeup.rules in a package.",
            todo="Install its package, or name one of: " + ", ".join(rule.name for rule in rules),
        )
    if settings is None and not new_rules:
        raise UsageError(
            "nothing is changed that could be rehearsed",
            todo="Name a settings file with --settings, or a rule that is new with --rule.",
        )
    changed = site.settings
    if settings is not None:
        try:
            text = settings.read_text("utf-8")
        except (OSError, UnicodeDecodeError) as error:
            raise UsageError(
                f"the settings to rehearse cannot be read: {error}",
                where=str(settings),
                todo="Name a copy of the site's takeup.toml with the changes in it, saved as UTF-8.",
            ) from error
        changed = read_settings(text, settings.name)
    present = Variant(site.settings, [rule for rule in rules if rule.name not in new_rules])
    proposed = Variant(changed, rules)
    if not new_rules and not list(_changes(present.settings, proposed.settings)):
        raise UsageError(
            "these settings say the same as the site's own",
            where=str(settings),
            why="Only values of measuring, limits, forecast, lubrication, surveying, planning, findings and "
            "orders change what a night says.",
            todo="Change a value in the copy, then run this again.",
        )
    return present, proposed


def _nights(begins: date, ends: date, every: int, first: date, last: date) -> list[int]:
    begins = max(begins, first)
    if ends > last or begins > ends:
        raise UsageError(
            f"there is no night to rehearse from {begins} to {ends}",
            why=f"The first reading was known on {first}, and the last night told {last}.",
            todo="Choose days between these two.",
        )
    return list(range((begins - EPOCH).days, (ends - EPOCH).days + 1, every))


def _weigh_alike(one: Settings, other: Settings) -> bool:
    """Whether both weigh readings and lubrication alike, so that one derivation serves both."""
    return _bare(one.measuring) == _bare(other.measuring) and _bare(one.judgement.lubrication) == _bare(
        other.judgement.lubrication
    )


def _bare(layer: Layered[Any]) -> tuple[Any, ...]:
    def values(overrides: Mapping[str, Any]) -> dict[str, Any]:
        return {name: each.value for name, each in overrides.items()}

    return (
        values(layer.site),
        {who: values(each) for who, each in layer.machine.items()},
        {who: values(each) for who, each in layer.strand.items()},
    )


def _changes(present: Settings, proposed: Settings) -> list[SettingChange]:
    """Every value that differs, with what it was and what it would be."""
    found = []
    for section, before in present.layers.items():
        after = proposed.layers[section]
        about = told_of(type(before.record))  # type: ignore[arg-type]
        for kind in ("site", "machine", "strand"):
            was, now = (_by_whom(getattr(layer, kind), kind) for layer in (before, after))
            for whom, name in sorted(was.keys() | now.keys()):
                place = {kind: whom} if whom else {}
                old, new = before.value(name, **place), after.value(name, **place)
                if old != new:
                    unit = str(about[name]["unit"])
                    found.append(SettingChange(f"{section}.{name}", whom, old, new, unit))
    return found


def _by_whom(overrides: Mapping[str, Any], kind: str) -> dict[tuple[str, str], Any]:
    if kind == "site":
        return {("", name): each for name, each in overrides.items()}
    return {(who, name): each for who, its in overrides.items() for name, each in its.items()}


def _histories(
    past: PastRows,
    nights: Sequence[int],
    run: Sequence[Variant],
    known: Mapping[int, Known],
    closed: Sequence[Closed],
    counts: Counts,
    progress: Progress,
) -> list[tuple[RehearsedBook, _Told]]:
    """The orders of every night under each variant, and what else it told."""
    books = [RehearsedBook(past, variant.settings) for variant in run]
    made = [_Told() for _ in run]
    before = nights[0] - 1
    told = told_nights(past, nights, run, known, counts=counts, progress=progress)
    for number, its in enumerate(told, start=1):
        day = its[0].day
        since = [one for one in closed if (before < one.known_day or number == 1) and one.known_day <= day]
        stops = past.frame(Feed.SHUTDOWNS, day)
        for book, made_by, night in zip(books, made, its, strict=True):
            book.night(number, night, since, stops)
            for anew in night.anew:
                if anew.judged is not None:
                    made_by.take(anew.judged)
        before = day
    return list(zip(books, made, strict=True))


class _Told:
    """The forecast of every survey, and each chain at a limit, on the night that first told of them."""

    _COLUMNS = (
        "survey_id", "life_id", "survey_hours", "e_wear_mean", "ahead_level", "hours_early", "hours_middle",
        "hours_late", "rate_to_bend", "bend", "past_case_factor", "own_rate",
    )  # fmt: skip

    def __init__(self) -> None:
        self.made: list[forecasts.Made] = []
        self.reached: dict[tuple[str, int], Reached] = {}
        self._told: set[str] = set()

    def take(self, judged: JudgedNight) -> None:
        """Enter what a night judged anew."""
        told = judged.verdicts
        due = (told["rule"] == wear_limit.RULE.name) & (told["answer"] == Answer.DUE.value)
        for strand, at in zip(told.loc[due, "subject"], told.loc[due, "at"], strict=True):
            fitted = int(judged.prognosis["fitted_day"].iloc[at])
            one = Reached(str(strand), EPOCH + timedelta(days=fitted), EPOCH + timedelta(days=judged.day))
            self.reached.setdefault((one.strand, fitted), one)
        self._forecasts(judged)

    def _forecasts(self, judged: JudgedNight) -> None:
        columns = [judged.prognosis[name].tolist() for name in self._COLUMNS]
        for survey, life, hours, e, level, early, middle, late, rate, bend, kappa, own in zip(
            *columns, strict=True
        ):
            if survey and survey not in self._told:
                self._told.add(survey)
                if np.isfinite(middle) and np.isfinite(level) and np.isfinite(hours):
                    self.made.append(
                        forecasts.Made(
                            life,
                            hours,
                            e,
                            level,
                            early,
                            middle,
                            late,
                            rate,
                            bend,
                            kappa if np.isfinite(kappa) else 1.0,
                            bool(own),
                        )
                    )


def _as_known_at_the_end(past: PastRows, day: int, settings: Settings) -> Derived:
    everybody = np.ones(past.groups, dtype=bool)
    return derive(
        past.seen_by(everybody, day, day),
        night=1,
        as_of=EPOCH + timedelta(days=day),
        previous_as_of=None,
        settings=settings.measuring,
        lubrication=settings.judgement.lubrication,
        everything=True,
    )


def _side(
    book: RehearsedBook,
    more: _Told,
    known: Derived,
    settings: Settings,
    present: Settings,
    nights: Sequence[int],
) -> Side:
    begins, ends = (EPOCH + timedelta(days=day) for day in (nights[0], nights[-1]))
    told = spells(book.orders, book.events)
    off = _chain_ends(known, present, begins, ends)
    broke = _fractures(known, begins, ends)
    chains = happened.chain_ends_judged(off, told, begins)
    return Side(
        spells=tuple(told),
        reached=tuple(more.reached[key] for key in sorted(more.reached)),
        chains=tuple(chains),
        fractures=tuple(happened.fractures_judged(broke, told)),
        false=tuple(
            happened.false_orders(
                told, off, _worn(known, present), int(settings.orders.value("bundling_days"))
            )
        ),
        given_up=happened.given_up(chains, [_hours_left(one, known) for one in chains]),
        forecasts=tuple(forecasts.by_stage(forecasts.scored(more.made, known.surveys))),
    )


def _chain_ends(known: Derived, settings: Settings, begins: date, ends: date) -> list[ChainEnd]:
    """The sets that came off within the rehearsal, each with the strand nearest its limit."""
    lives = known.lives.assign(
        level=levels(known.lives, known.surveys, known.machines, settings.judgement),
        as_found=_as_found(known),
    )
    removed = lives["removed_day"].to_numpy(dtype=np.float64)
    first, last = ((day - EPOCH).days for day in (begins, ends))
    its = lives.loc[(removed > first) & (removed <= last)]
    at_end, _ = known.meters.hours_at(its["machine"], its["removed_day"].to_numpy(np.float64) + 0.5)
    its = its.assign(life_hours=at_end - its["hours_at_fitting"].to_numpy(np.float64))
    return [
        _chain_end(str(name), int(rows["removed_day"].iloc[0]), rows, settings)
        for (name, _), rows in its.groupby(["set", "removed_day"])
    ]


def _chain_end(name: str, day: int, rows: pd.DataFrame, settings: Settings) -> ChainEnd:
    machine = str(rows["machine"].iloc[0])
    used = (rows["as_found"] / rows["level"]).to_numpy(dtype=np.float64)
    worst = int(np.nanargmax(used)) if np.isfinite(used).any() else 0
    price, labour = rows["chain_price"].sum(skipna=False), rows["replacement_labour_cost"].max()
    lead = rows["lead_time_days"].max()
    return ChainEnd(
        set=name,
        machine=machine,
        on=EPOCH + timedelta(days=day),
        as_found=_known(rows["as_found"].iloc[worst]),
        limit=_known(rows["level"].iloc[worst]),
        plan_part=float(settings.judgement.limits.value("plan_part", machine)),
        lead_days=int(settings.judgement.planning.value("lead_days", machine) if np.isnan(lead) else lead),
        hours=_known(rows["life_hours"].max()),
        cost=_known(price + (0.0 if np.isnan(labour) else labour)),
    )


def _worn(known: Derived, settings: Settings) -> list[Worn]:
    """What every usable survey showed of its set, by day."""
    level = pd.Series(
        levels(known.lives, known.surveys, known.machines, settings.judgement), index=known.lives["life_id"]
    )
    name = pd.Series(known.lives["set"].to_numpy(dtype=object), index=known.lives["life_id"])
    its = known.surveys.loc[known.surveys["usable"].to_numpy(dtype=bool)]
    share = its["e_wear_mean"].to_numpy(float) / level.reindex(its["life_id"]).to_numpy(dtype=np.float64)
    told = pd.DataFrame(
        {
            "set": name.reindex(its["life_id"]).to_numpy(dtype=object),
            "day": its["day"].to_numpy(),
            "share": share,
        }
    )
    worst = told.dropna().groupby(["set", "day"], as_index=False)["share"].max()
    return [
        Worn(str(one), EPOCH + timedelta(days=int(day)), float(part))
        for one, day, part in zip(worst["set"], worst["day"], worst["share"], strict=True)
    ]


def _as_found(known: Derived) -> np.ndarray[Any, Any]:
    """Mean elongation of the last usable survey of each life."""
    usable = known.surveys.loc[known.surveys["usable"].to_numpy(dtype=bool)]
    last = usable.drop_duplicates("life_id", keep="last").set_index("life_id")["e_wear_mean"]
    return last.reindex(known.lives["life_id"]).to_numpy(dtype=np.float64)


def _fractures(known: Derived, begins: date, ends: date) -> list[Fracture]:
    """Breaks that were found within the rehearsal, one a day and chain."""
    set_of = dict(zip(known.lives["strand"], known.lives["set"], strict=True))
    found: dict[tuple[date, str, str], Fracture] = {}
    columns = (known.findings[name].tolist() for name in ("day", "machine", "strand", "finding"))
    for day, machine, strand, word in zip(*columns, strict=True):
        on = EPOCH + timedelta(days=int(day))
        if begins < on <= ends and word in VOCABULARY and VOCABULARY[word].fracture:
            one = Fracture(set_of.get(strand, ""), machine, on, word)
            found.setdefault((on, one.set, machine), one)
    return [found[key] for key in sorted(found)]


def _hours_left(one: happened.Judged, known: Derived) -> float | None:
    """Run hours from an order's need-by day to the day its chain came off."""
    if one.order is None or one.order.need_by is None:
        return None
    moments = np.array([(day - EPOCH).days + 0.5 for day in (min(one.order.need_by, one.on), one.on)])
    hours, _ = known.meters.hours_at([one.machine] * 2, moments)
    return _known(hours[1] - hours[0])


def _known(value: Any) -> float | None:
    return float(value) if np.isfinite(value) else None
