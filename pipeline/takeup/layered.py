"""Settings records whose every field says its default, unit and source, with what a site puts in its place.

A room declares a frozen dataclass with :func:`setting`; ``site`` reads the settings file and wraps the record
into :class:`Layered`. Judgement asks for numbers as arrays (:meth:`Layered.column`) and for their story as
:class:`takeup.model.Sourced` (:meth:`Layered.sourced`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import date
from functools import cache
from typing import TYPE_CHECKING, Any, Generic, TypeVar

import numpy as np

from takeup.model import Source, Sourced

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

S = TypeVar("S")


def setting(
    default: Any,
    unit: str,
    source: Source,
    says: str,
    *,
    low: float | None = None,
    high: float | None = None,
    citation: str = "",
    finest: str = "strand",
) -> Any:
    """A settings field with its unit, the status of its default and the range in which it makes sense.

    Parameters
    ----------
    default : float, int, str or bool
    unit : str
        ``"1"`` for a pure number.
    source : Source
        Status of the default.
    says : str
        One sentence for the people who set it.
    low, high : float, optional
        The widest values accepted from a site.
    citation : str, optional
        The publication behind the default.
    finest : str, optional
        Who may have a value of their own: ``strand`` (machines too), ``machine``, or ``site``: one for all.
    """
    return field(
        default=default,
        metadata={
            "unit": unit,
            "source": source,
            "says": says,
            "low": low,
            "high": high,
            "citation": citation,
            "finest": finest,
        },
    )


@cache
def told_of(record: type) -> Mapping[str, Mapping[str, Any]]:
    """What a settings record says of each of its fields, by name."""
    return {item.name: item.metadata for item in fields(record)}


@dataclass(frozen=True)
class Override:
    """A value a site put in place of a default, and who answers for it."""

    value: Any
    reason: str
    by: str
    on: date
    review_by: date
    origin: str


@dataclass(frozen=True)
class Layered(Generic[S]):
    """A settings record with what the site, a machine or a strand put in its place.

    Parameters
    ----------
    record : dataclass instance
        The room's defaults.
    site : mapping
        Field name to :class:`Override`.
    machine, strand : mapping
        Machine or strand name to a mapping like ``site``; a strand's value goes before its machine's, a
        machine's before the site's, the site's before the default.
    """

    record: S
    site: Mapping[str, Override] = field(default_factory=dict)
    machine: Mapping[str, Mapping[str, Override]] = field(default_factory=dict)
    strand: Mapping[str, Mapping[str, Override]] = field(default_factory=dict)

    def override(self, name: str, machine: str = "", strand: str = "") -> Override | None:
        """The override that holds for this machine and strand, if there is one."""
        return (
            self.strand.get(strand, {}).get(name)
            or self.machine.get(machine, {}).get(name)
            or self.site.get(name)
        )

    def value(self, name: str, machine: str = "", strand: str = "") -> Any:
        """The bare value that holds for this machine and strand."""
        found = self.override(name, machine, strand)
        return getattr(self.record, name) if found is None else found.value

    def column(self, name: str, machines: ArrayLike, strands: ArrayLike) -> NDArray[Any]:
        """The value for each of many strands.

        Parameters
        ----------
        name : str
            Field of the record.
        machines, strands : (n,) str

        Returns
        -------
        (n,)
            In the field's unit.
        """
        machine_names = np.asarray(machines, dtype=object)
        strand_names = np.asarray(strands, dtype=object)
        column = np.full(strand_names.shape, self.value(name))
        for layer, names in ((self.machine, machine_names), (self.strand, strand_names)):
            for who, overrides in layer.items():
                if name in overrides:
                    column[names == who] = overrides[name].value
        return column

    def sourced(self, name: str, machine: str = "", strand: str = "") -> Sourced:
        """The value with its unit and where it comes from, in words."""
        about = told_of(type(self.record))[name]  # type: ignore[arg-type]
        found = self.override(name, machine, strand)
        if found is None:
            origin = f"default, {about['source'].value}"
            if about["citation"]:
                origin += f": {about['citation']}"
            return Sourced(getattr(self.record, name), about["unit"], origin, is_default=True)
        origin = f"{found.origin} ({found.reason}; {found.by}, {found.on}; review by {found.review_by})"
        return Sourced(found.value, about["unit"], origin)
