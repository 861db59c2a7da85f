"""What a rule is: a name, the cases it answers with, and two functions.

A site's own rule is a :class:`Rule` behind an entry point of the group ``takeup.rules``; it brings its
sentences in the site's templates.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias

import numpy as np
import pandas as pd

from takeup.judgement.settings import JudgementSettings
from takeup.model import Answer, Fact, Job, KeptOut, Urgency

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from takeup.derive.meters import MeterBook

Row = Mapping[str, Any]
Reads = Callable[[Row], Iterable[tuple[str, str]]]
History = Mapping[tuple[Job, str], float]
#: (job, row id) to the day number of the last close-out as done of an order for this job that named the row
ClosedRows = Mapping[tuple[Job, int], float]
#: a day number, or one a strand
Days: TypeAlias = "int | NDArray[np.int64]"

#: Decimals to which values are rounded before they meet a threshold, so that the last bit of a float decides
#: nothing: thousandths of a per cent, tenths of an hour and of a millimetre, hundredths of a degree, ten
#: thousandths of a per cent per 1000 h.
PERCENT = 3
HOURS = 1
MM = 1
DEGREES = 2
RATE = 4


class Outcome(NamedTuple):
    """What a case means: the answer, and how urgent the job is when due."""

    answer: Answer
    urgency: Urgency | None = None


STOP_NOW = Outcome(Answer.DUE, Urgency.STOP_NOW)
THIS_WEEK = Outcome(Answer.DUE, Urgency.THIS_WEEK)
NEXT_SHUTDOWN = Outcome(Answer.DUE, Urgency.NEXT_SHUTDOWN)
PLAN = Outcome(Answer.DUE, Urgency.PLAN)
CLEAR = Outcome(Answer.CLEAR)
CANNOT = Outcome(Answer.CANNOT_JUDGE)


class Columns(Mapping[str, list[Any]]):
    """The columns of a frame as lists of plain values, each made when it is first read."""

    def __init__(self, frame: pd.DataFrame) -> None:
        self._frame = frame
        self._names = dict.fromkeys(frame.columns)
        self._lists: dict[str, list[Any]] = {}

    def __getitem__(self, name: str) -> list[Any]:
        if name not in self._lists:
            self._lists[name] = self._frame[name].tolist()
        return self._lists[name]

    def __contains__(self, name: object) -> bool:
        return name in self._names

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


@dataclass(frozen=True)
class Situation:
    """What is known on one civil day: the strands with their prognosis, and what the rules need beside it.

    Attributes
    ----------
    strands : DataFrame
        One row an open life: the state frame with limits, rates and dates
        (:mod:`takeup.judgement.prognosis`).
    as_of : int or (n,) int
        Day number; one a strand where several nights are judged together.
    history : mapping
        (job, subject of the order) to the day number of the last close-out as done.
    closed : mapping
        (job, row id) to the day number of the last close-out as done of an order that named the row.
    surveys, findings, lube, takeup, sprockets : DataFrame
        As derived.
    meters : MeterBook, optional
        The run hours of all machines.
    sources : DataFrame
        The register of energy sources, as derived.
    at_work : mapping
        Machine to the most urgent of its jobs that need lockout: those of open orders and, for rules that
        judge after the others, those that tonight's other rules ask for.
    kept_out : sequence of KeptOut
        Rows refused, waiting and set aside.
    """

    strands: pd.DataFrame
    as_of: Days
    history: History = field(default_factory=dict)
    closed: ClosedRows = field(default_factory=dict)
    surveys: pd.DataFrame = field(default_factory=pd.DataFrame)
    findings: pd.DataFrame = field(default_factory=pd.DataFrame)
    lube: pd.DataFrame = field(default_factory=pd.DataFrame)
    takeup: pd.DataFrame = field(default_factory=pd.DataFrame)
    sprockets: pd.DataFrame = field(default_factory=pd.DataFrame)
    meters: MeterBook | None = None
    sources: pd.DataFrame = field(default_factory=pd.DataFrame)
    at_work: Mapping[str, Urgency] = field(default_factory=dict)
    kept_out: Sequence[KeptOut] = ()

    @cached_property
    def columns(self) -> Columns:
        """The strands' columns as lists, for facts."""
        return Columns(self.strands)

    @cached_property
    def _spans(self) -> Mapping[str, slice]:
        life = self.surveys["life_id"].to_numpy(dtype=object) if len(self.surveys) else np.array([], object)
        begins = np.flatnonzero(np.r_[True, life[1:] != life[:-1]]) if len(life) else np.array([], dtype=int)
        ends = np.r_[begins[1:], len(life)]
        return {
            life[begin]: slice(begin, end) for begin, end in zip(begins.tolist(), ends.tolist(), strict=False)
        }

    @cached_property
    def _survey_columns(self) -> Columns:
        return Columns(self.surveys)

    def surveys_of(self, life: str, *names: str) -> list[tuple[Any, ...]]:
        """Some columns of the surveys of one life, oldest first."""
        if life not in self._spans:
            return []
        span, columns = self._spans[life], self._survey_columns
        return list(zip(*(columns[name][span] for name in names), strict=True))

    def done_on(self, job: Job, subjects: ArrayLike) -> NDArray[np.float64]:
        """Day on which a job was last closed out as done for each subject; NaN where never."""
        done = {subject: day for (what, subject), day in self.history.items() if what == job}
        return np.array([done.get(subject, np.nan) for subject in np.asarray(subjects)], dtype=float)


class Turns(NamedTuple):
    """What would change an answer, new evidence aside: one event, its life hours and day number."""

    to: ArrayLike  # the case of the rule it would change to
    hours: ArrayLike = np.nan
    day: ArrayLike = np.nan


NO_TURN = Turns("")


@dataclass(frozen=True)
class Rule:
    """One trade rule.

    Attributes
    ----------
    name : str
        Snake case; the first half of the name of its sentence files.
    job : Job
        What it asks for when due; a row of its frame may name another in the column ``job``.
    outcomes : mapping
        Case to what it means.
    judge : callable
        ``judge(situation, settings)`` gives one row a subject (and job), see :func:`answers`.
    facts : callable
        ``facts(row, settings)`` for one subject; ``row`` is the strand's row of the prognosis with the rule's
        own row over it.
    evidence : tuple of str
        Columns that hold the row ids the answer turns on: a number or a list of numbers each. When they
        change, the evidence is newer.
    beside : tuple of str
        More columns, and parts of :data:`takeup.judgement.evidence.LOOKED_UP`, that are shown beside them and
        make no evidence newer.
    reads : tuple of callable
        Groups of settings that entered the facts: see :mod:`takeup.judgement.reads`. Each takes the row that
        ``facts`` takes and names section and field of the settings.
    after_work : bool
        Judges after the other rules, and sees in ``situation.at_work`` what they ask for.
    """

    name: str
    job: Job
    outcomes: Mapping[str, Outcome]
    judge: Callable[[Situation, JudgementSettings], pd.DataFrame]
    facts: Callable[[Row, JudgementSettings], tuple[Fact, ...]]
    evidence: tuple[str, ...] = ()
    beside: tuple[str, ...] = ()
    reads: tuple[Reads, ...] = ()
    after_work: bool = False


def answers(
    frame: pd.DataFrame,
    case: NDArray[Any],
    *,
    subject_kind: str = "strand",
    subject: ArrayLike | None = None,
    value: ArrayLike = np.nan,
    threshold: ArrayLike = np.nan,
    margin: ArrayLike = np.nan,
    unit: str | NDArray[Any] = "",
    turns: Turns = NO_TURN,
    **more: Any,
) -> pd.DataFrame:
    """The frame a rule answers with, one row for each row of ``frame``.

    Parameters
    ----------
    frame : DataFrame
        Rows about strands (then ``strand`` and ``machine`` are taken from it) or about other subjects.
    case : (n,) str
        Case of each row, a key of the rule's outcomes.
    subject_kind, subject
        Other subjects than the strand.
    value, threshold, margin : float or (n,) float
        In ``unit``; the margin is positive while clear.
    turns : Turns
        When the answer would change and to what, of :func:`first_turn`.
    **more
        Further columns: ``urgency`` or ``job`` where a case leaves them open (blank: by the case),
        ``need_by_day``, ``buy_by_day``, ``stop_pos`` (the moment from which a machine that is to stop must
        not run), and whatever the rule's facts need.

    Returns
    -------
    DataFrame
        With ``at``, the position of the strand's row in the prognosis, -1 where the subject is no single
        strand.
    """
    at = np.arange(len(frame)) if subject_kind == "strand" and "at" not in more else -1
    columns = {
        "subject_kind": subject_kind,
        "subject": frame["strand"].to_numpy(object) if subject is None else np.asarray(subject, dtype=object),
        "machine": frame["machine"].to_numpy(object),
        "at": at,
        "case": case,
        "value": value,
        "threshold": threshold,
        "margin": margin,
        "unit": unit,
        "turning_hours": turns.hours,
        "turning_day": turns.day,
        "turning_to": turns.to,
    }
    return pd.DataFrame(columns | more, index=pd.RangeIndex(len(frame)))


def first_turn(waits: ArrayLike, as_of: Days, *events: Turns) -> Turns:
    """The event that comes first for each row that waits; hours and day are those of one and the same event.

    Parameters
    ----------
    waits : (n,) bool
    as_of : int or (n,) int
        Day number; an event whose time came without being seen comes the day after at the soonest.
    *events : Turns
        One an event, each (n,) or one value for all.

    Examples
    --------
    >>> due = Turns("due", np.array([600.0, 600.0]), np.array([40.0, np.nan]))
    >>> rust = Turns("calendar_due", day=np.array([30.0, np.nan]))
    >>> [each.tolist() for each in first_turn(np.array([True, True]), 10, due, rust)]
    [['calendar_due', 'due'], [nan, 600.0], [30.0, nan]]
    """
    waiting = np.asarray(waits, dtype=bool)

    def stacked(values: Sequence[ArrayLike], dtype: Any) -> NDArray[Any]:
        return np.stack([np.broadcast_to(np.asarray(each, dtype=dtype), waiting.shape) for each in values])

    to = stacked([event.to for event in events], object)
    hours = stacked([event.hours for event in events], np.float64)
    day = np.maximum(stacked([event.day for event in events], np.float64), np.add(as_of, 1.0))
    first = np.lexsort((np.nan_to_num(hours, nan=np.inf), np.nan_to_num(day, nan=np.inf)), axis=0)[0]
    row = np.arange(waiting.size)
    hours, day, to = hours[first, row], day[first, row], to[first, row]
    told = waiting & (np.isfinite(hours) | np.isfinite(day))
    return Turns(np.where(told, to, ""), np.where(told, hours, np.nan), np.where(told, day, np.nan))


def choose(*choices: tuple[ArrayLike, str], otherwise: str) -> NDArray[Any]:
    """For each row the case of the first condition that holds.

    Examples
    --------
    >>> choose((np.array([True, False]), "late"), (np.array([True, True]), "due"), otherwise="clear").tolist()
    ['late', 'due']
    """
    names = np.array([name for _, name in choices] + [otherwise], dtype=object)
    conditions = np.stack([np.asarray(condition, dtype=bool) for condition, _ in choices])
    first = np.where(conditions.any(axis=0), conditions.argmax(axis=0), len(choices))
    return names[first]


def rounded(values: ArrayLike, decimals: int) -> NDArray[np.float64]:
    """Values to their stated step.

    Examples
    --------
    >>> rounded([1.55184, float("nan")], PERCENT).tolist()
    [1.552, nan]
    """
    return np.asarray(np.round(np.asarray(values, dtype=np.float64), decimals), dtype=np.float64)


def numbers(frame: pd.DataFrame, name: str) -> NDArray[np.float64]:
    """A column as floats, NaN where not known."""
    return frame[name].to_numpy(dtype=np.float64, na_value=np.nan)


def words(frame: pd.DataFrame, name: str) -> NDArray[Any]:
    """A column of words as objects, '' where blank."""
    return frame[name].fillna("").to_numpy(dtype=object)


def among(names: NDArray[Any], wanted: ArrayLike) -> NDArray[np.bool_]:
    """Whether each name is one of many: by a hash table; :func:`numpy.isin` compares texts pair by pair."""
    return np.asarray(pd.Index(names).isin(wanted), dtype=bool)


def yes(frame: pd.DataFrame, name: str) -> NDArray[np.bool_]:
    """A yes_no or true/false column as booleans; blank counts as no."""
    column = frame[name].to_numpy(dtype=object)
    return np.asarray((column == "yes") | (column == True), dtype=bool)  # noqa: E712 - element by element
