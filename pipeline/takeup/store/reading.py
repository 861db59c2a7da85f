"""What feeds hand to the store: one plain text file and how each of its cells is to be read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from pathlib import Path

from takeup.contracts import Contract, Field
from takeup.units import Conversion


@dataclass(frozen=True)
class Marks:
    """How a source writes numbers and dates.

    Attributes
    ----------
    decimal : str
        ``.`` or ``,``.
    grouping : str
        ``''``, ``.``, ``,`` or a space.
    date_order : str
        ``ymd``, ``dmy`` or ``mdy``.
    clock : str
        ``24`` or ``12``.
    zone, site_zone : str
        Names of the source's and the site's time zones.
    """

    decimal: str = "."
    grouping: str = ""
    date_order: str = "ymd"
    clock: str = "24"
    zone: str = "UTC"
    site_zone: str = "UTC"


@dataclass(frozen=True)
class CellRule:
    """How the cells of one contract column are read.

    Attributes
    ----------
    position : int or None
        Column of the file, from 0; None where the file lacks it and the default holds.
    words : mapping
        The source's words to the contract's, lower case with underscores.
    conversion : Conversion or None
        From the source's unit to the kept one; None where they are the same.
    """

    field: Field
    position: int | None
    words: Mapping[str, str] = dataclass_field(default_factory=dict)
    conversion: Conversion | None = None


@dataclass(frozen=True)
class Reading:
    """One file, ready to be loaded: every record stands on one line, every line has the same cells.

    Attributes
    ----------
    path : Path
        UTF-8 without byte order mark.
    columns : int
        Cells of a record, the line number not counted.
    skip : int
        Lines before the first record.
    first_line : int
        Line number of the first record in the text as received.
    numbered : bool
        Whether every record begins with a cell more: its line number, which then need not be consecutive.
    quoted : bool
        Whether a quote mark encloses cells; False where the file holds none.
    edged : bool
        Whether any cell may begin or end with a blank.
    joined : bool
        Whether a line break inside a cell stands as the unit separator (U+001F).
    stamp : float or None
        The moment the file's name declares, as a position.
    """

    file_id: int
    contract: Contract
    path: Path
    delimiter: str
    columns: int
    skip: int
    first_line: int
    rules: tuple[CellRule, ...]
    marks: Marks
    whole: bool
    source: str
    numbered: bool = False
    quoted: bool = True
    edged: bool = True
    joined: bool = False
    stamp: float | None = None
