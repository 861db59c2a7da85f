"""What an answer does not rest on: rows kept out, surveys that are not fit, and rows that others replaced."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from takeup.model import KeptOut

if TYPE_CHECKING:
    import pandas as pd

EPOCH = date(1970, 1, 1)

#: how a row ended that a person does not trust
SET_ASIDE = "set_aside"


@dataclass(frozen=True)
class UnfitSurvey:
    """A survey that no rate is reckoned from; ``note`` is a survey note of ``derive`` or blank."""

    strand: str
    on: date
    note: str
    usable: bool


@dataclass(frozen=True)
class EndedRow:
    """A row that is in force no longer.

    ``how`` is superseded or missing (a whole export no longer holds it), ``on`` the day told by the night
    that ended it; ``by_file`` and ``by_line`` say which row took its place.
    """

    feed: str
    file: str
    line: int
    sha256: str
    how: str
    on: date
    by_file: str = ""
    by_line: int = 0


@dataclass(frozen=True)
class LeftOut:
    """All that concerns some strands and was left out of what is said of them."""

    kept_out: tuple[KeptOut, ...] = ()
    unfit: tuple[UnfitSurvey, ...] = ()
    ended: tuple[EndedRow, ...] = ()


class LeftOutRecord:
    """All that was left out, looked up by whom it concerns.

    Parameters
    ----------
    kept_out : iterable of KeptOut
        Rows refused, waiting and set aside.
    surveys : DataFrame
        Those of the open lives: strand, day, note, usable, usable_for_rate.
    ended : iterable of mapping
        Rows no longer in force, as :meth:`takeup.store.Store.ended` gives them.
    origins : mapping
        Row id to file, line and sha256 of every row named in ``ended``.
    """

    def __init__(
        self,
        kept_out: Iterable[KeptOut],
        surveys: pd.DataFrame,
        ended: Iterable[Mapping[str, Any]],
        origins: Mapping[int, Mapping[Any, Any]],
    ) -> None:
        self._kept_out: defaultdict[str, list[KeptOut]] = defaultdict(list)
        for row in kept_out:
            self._kept_out[row.subject].append(row)
        fit = surveys["usable"].to_numpy(bool) & surveys["usable_for_rate"].to_numpy(bool)
        columns = (surveys.loc[~fit, name].tolist() for name in ("strand", "day", "note", "usable"))
        self._unfit: defaultdict[str, list[UnfitSurvey]] = defaultdict(list)
        for strand, day, note, usable in zip(*columns, strict=True):
            on = EPOCH + timedelta(days=int(day))
            self._unfit[strand].append(UnfitSurvey(strand, on, note, bool(usable)))
        self._ended: defaultdict[str, list[EndedRow]] = defaultdict(list)
        for each in ended:
            if each["how"] == SET_ASIDE:  # told among the rows kept out, with who and why
                continue
            self._ended[each["subject"]].append(_ended(each, origins))

    def of(self, subjects: Iterable[str]) -> LeftOut:
        """What concerns some strands, machines and orders; each is asked by its name."""
        names = sorted({subject for subject in subjects if subject})
        return LeftOut(
            tuple(
                sorted(
                    (row for name in names for row in self._kept_out.get(name, ())),
                    key=lambda row: (row.feed, row.file, row.line),
                )
            ),
            tuple(survey for name in names for survey in self._unfit.get(name, ())),
            tuple(row for name in names for row in self._ended.get(name, ())),
        )


def _ended(row: Mapping[str, Any], origins: Mapping[int, Mapping[Any, Any]]) -> EndedRow:
    where, by = origins[int(row["row_id"])], origins.get(int(row["by_row"]))
    return EndedRow(
        row["feed"],
        where["file"],
        int(where["line"]),
        where["sha256"],
        row["how"],
        row["as_of"],
        by["file"] if by else "",
        int(by["line"]) if by else 0,
    )
