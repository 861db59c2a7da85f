"""Many nights judged in one vector pass.

A rule looks at every strand by its own rows alone, so a strand on two nights can stand in one frame as two
strands. Each is then named by its part too, ``EL-11-A`` of the fourth part as ``EL-11-A␟3``, in every frame
that the rules join by name; settings are asked for by the bare name, and the answers bear it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from takeup.judgement.answered import COLUMNS, answered
from takeup.judgement.explaining import verdicts
from takeup.judgement.planning import EVERY_MACHINE
from takeup.judgement.prognosis import prognosis
from takeup.judgement.rule import ClosedRows, History, Rule, Situation
from takeup.judgement.settings import JudgementSettings
from takeup.layered import Layered, Override, S
from takeup.model import Job, Verdict
from takeup.wear.calibration import FleetTable

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

#: stands between a name and the number of its part: the unit separator, which stands in no name
MARK = "\x1f"

#: frames of what was derived → the columns that hold names
_NAMES: Mapping[str, tuple[str, ...]] = {
    "surveys": ("life_id", "strand", "machine"),
    "findings": ("strand", "machine"),
    "lube": ("life_id", "strand"),
    "takeup": ("life_id", "strand"),
    "sprockets": ("machine", "strand"),
    "sources": ("machine",),
}
_OF_STATE = ("life_id", "strand", "machine", "set")


class Part(NamedTuple):
    """What is to be judged of one night: some strands, and what was derived of them.

    ``derived`` may hold more strands than ``state``; ``day`` is the day number of the night, ``history`` the
    close-outs known on it, as for :func:`takeup.judgement.judging.judge`.
    """

    day: int
    state: pd.DataFrame
    derived: Any
    history: History


class JudgedNight(NamedTuple):
    """The answers of one part, in the order of its strands.

    ``verdicts`` has :data:`.answered.COLUMNS` and ``at``, the place of the strand in ``prognosis`` (-1: no
    single strand); ``due`` are its due verdicts, each with the number of its rule, with facts but without the
    rows and settings behind them.
    """

    day: int
    verdicts: pd.DataFrame
    due: tuple[tuple[int, Verdict], ...]
    prognosis: pd.DataFrame


def fit_for_many(rules: Iterable[Rule]) -> list[Rule]:
    """The rules that ask for work on the plant, whose answers depend on no other's and on no row kept out."""
    return [rule for rule in rules if rule.job is not Job.CORRECT_DATA and not rule.after_work]


@dataclass(frozen=True)
class Stacked:
    """Several parts in one frame a kind, every name bearing its part; for any number of judgings."""

    parts: tuple[Part, ...]
    as_of: NDArray[np.int64]
    strands: pd.DataFrame
    frames: Mapping[str, pd.DataFrame]
    shutdowns: pd.DataFrame
    history: History


def stacked(parts: Sequence[Part]) -> Stacked:
    """Parts made ready to be judged in one pass.

    Parameters
    ----------
    parts : sequence of Part
        One or more, none without strands, all under the same register of planned stops; a night may have
        several, of different machines.
    """
    strands = _joined([_named(part.state, _OF_STATE, place) for place, part in enumerate(parts)])
    return Stacked(
        tuple(parts),
        np.repeat([part.day for part in parts], [len(part.state) for part in parts]),
        strands,
        {name: _joined([_of_part(part, name, place) for place, part in enumerate(parts)]) for name in _NAMES},
        _for_nights(parts[0].derived.shutdowns, strands["machine"]),
        {
            (job, f"{subject}{MARK}{place}"): day
            for place, part in enumerate(parts)
            for (job, subject), day in part.history.items()
        },
    )


def judge_nights(
    given: Stacked,
    fleet: FleetTable,
    settings: JudgementSettings,
    closed: ClosedRows,
    rules: Sequence[Rule],
) -> Iterator[JudgedNight]:
    """Every rule's answer for the strands of several nights, in one vector pass a rule.

    Parameters
    ----------
    given : Stacked
    fleet : FleetTable
        In force on all of them.
    settings : JudgementSettings
    closed : mapping
        What orders that named a row were closed out as done, the same on all these nights.
    rules : sequence of Rule
        Of :func:`fit_for_many`.

    Yields
    ------
    JudgedNight
        In the order of the parts.
    """
    settings = _by_bare_names(settings)
    frames = given.frames
    told = prognosis(
        given.strands,
        frames["surveys"],
        given.shutdowns,
        frames["findings"],
        closed,
        fleet,
        settings,
        given.as_of,
    )
    situation = replace(
        Situation(strands=told, as_of=given.as_of, history=given.history, closed=closed),
        **frames,  # type: ignore[arg-type]
    )
    every = answered(situation, settings, rules)
    answers = pd.concat([each.answers[[*COLUMNS, "at"]] for each in every], ignore_index=True)
    answers = answers.drop_duplicates(["rule", "subject_kind", "subject"], ignore_index=True)
    due: list[list[tuple[int, Verdict]]] = [[] for _ in given.parts]
    for number, each in enumerate(every):
        # Orders go by facts alone; the rows and settings behind them are told of nights that are published.
        bare_rule = replace(each.rule, evidence=(), beside=(), reads=())
        for verdict in verdicts(each._replace(rule=bare_rule), each.due.tolist(), situation, settings):
            due[int(verdict.subject.rpartition(MARK)[2])].append((number, _bare_verdict(verdict)))
    bare, whose = _split(answers["subject"].to_numpy(dtype=object))
    machine, _ = _split(answers["machine"].to_numpy(dtype=object))
    answers = answers.assign(subject=_texts(bare), machine=_texts(machine))
    for name in _OF_STATE:
        told[name] = _texts(_split(told[name].to_numpy(dtype=object))[0])
    begin = 0
    for place, part in enumerate(given.parts):
        here = answers.loc[whose == place].reset_index(drop=True)
        here["at"] = np.where(here["at"] >= 0, here["at"] - begin, -1)
        end = begin + len(part.state)
        yield JudgedNight(part.day, here, tuple(due[place]), told.iloc[begin:end].reset_index(drop=True))
        begin = end


def _texts(names: NDArray[Any]) -> pd.Series[Any]:
    return pd.Series(names, dtype=object)


def _of_part(part: Part, name: str, place: int) -> pd.DataFrame:
    """A frame of what was derived, its rows about strands and machines of the part alone, named by it."""
    frame: pd.DataFrame = getattr(part.derived, name)
    if not len(frame):
        return frame
    if "life_id" in frame:
        here = frame["life_id"].isin(part.state["life_id"].tolist())
    else:
        here = frame["machine"].isin(part.state["machine"].tolist())
        if "strand" in frame:
            here |= frame["strand"].isin(part.state["strand"].tolist())
    return _named(frame.loc[here], _NAMES[name], place)


def _named(frame: pd.DataFrame, columns: Iterable[str], place: int) -> pd.DataFrame:
    """The frame with the part in every name of these columns; a blank stays blank."""
    mark = f"{MARK}{place}"
    return frame.assign(
        **{
            name: [cell + mark if cell else cell for cell in frame[name].tolist()]
            for name in columns
            if name in frame
        }
    )


def _joined(frames: Sequence[pd.DataFrame]) -> pd.DataFrame:
    filled = [frame for frame in frames if len(frame)] or list(frames[:1])
    return pd.concat(filled, ignore_index=True) if len(filled) > 1 else filled[0].reset_index(drop=True)


def _for_nights(shutdowns: pd.DataFrame, machines: pd.Series[str]) -> pd.DataFrame:
    """The planned stops with every machine named by each of its parts."""
    if not len(shutdowns):
        return shutdowns
    parts: dict[str, set[str]] = {}
    for named in set(machines.tolist()):
        parts.setdefault(named.partition(MARK)[0], set()).add(named)

    def listed(text: str) -> str:
        bare = [part.strip() for part in text.split(";")]
        if EVERY_MACHINE in bare:
            return text
        return "; ".join(named for name in bare for named in sorted(parts.get(name, ())))

    return shutdowns.assign(machines=[listed(text) for text in shutdowns["machines"]])


def _split(names: NDArray[Any]) -> tuple[NDArray[Any], NDArray[np.int64]]:
    """Bare names, and the part of each; 0 without one."""
    parts = [name.partition(MARK) for name in names.tolist()]
    bare = np.empty(len(parts), dtype=object)
    bare[:] = [name for name, _, _ in parts]
    return bare, np.array([int(place or 0) for _, _, place in parts], dtype=np.int64)


def _bare(value: Any) -> Any:
    """A fact's value with the parts taken out of its names."""
    if isinstance(value, str):
        return value.partition(MARK)[0]
    return tuple(_bare(each) for each in value) if isinstance(value, tuple) else value


def _bare_verdict(verdict: Verdict) -> Verdict:
    return replace(
        verdict,
        subject=_bare(verdict.subject),
        machine=_bare(verdict.machine),
        facts=tuple(
            fact if MARK not in str(fact.value) else replace(fact, value=_bare(fact.value))
            for fact in verdict.facts
        ),
    )


@dataclass(frozen=True)
class _ByBareName(Layered[S]):
    """Settings asked for by names that bear their part."""

    def override(self, name: str, machine: str = "", strand: str = "") -> Override | None:
        return super().override(name, _bare(machine), _bare(strand))

    def column(self, name: str, machines: ArrayLike, strands: ArrayLike) -> NDArray[Any]:
        if self.machine or self.strand:
            machines, strands = (_split(np.asarray(each, dtype=object))[0] for each in (machines, strands))
        return super().column(name, machines, strands)


def _by_bare_names(settings: JudgementSettings) -> JudgementSettings:
    return replace(
        settings,
        **{
            name: _ByBareName(each.record, each.site, each.machine, each.strand)
            for name, each in vars(settings).items()
            if isinstance(each, Layered)
        },
    )
