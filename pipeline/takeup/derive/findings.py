"""Findings put under the words of the vocabulary.

What people write is never dropped: a finding outside the vocabulary stays as *unclassified*, and free words
that speak of breaking make it a matter of stopping until a person has read it.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

from takeup.derive.frames import FLAG, NUMBER, TEXT, WHOLE, typed
from takeup.derive.lives import Register
from takeup.derive.settings import MeasuringSettings, words
from takeup.derive.vocabulary import (
    EVENT_WORDS,
    JOINT_WORDS,
    NOTE,
    SLACK,
    STOP,
    STOP_WORDS,
    UNCLASSIFIED,
    VOCABULARY,
    WORD_OF,
    plain,
    stop_word,
)
from takeup.layered import Layered

if TYPE_CHECKING:
    import pandas as pd

#: columns and types of the frame of findings
COLUMNS = {
    "row_id": WHOLE, "machine": TEXT, "strand": TEXT, "day": WHOLE, "pos": NUMBER, "finding": TEXT,
    "stop_class": FLAG, "severity": TEXT, "stated": TEXT, "abnormal": FLAG, "place": TEXT,
    "remark": TEXT, "raw_finding": TEXT, "first_load": FLAG, "in_joint": FLAG, "site_word": TEXT,
    "telling_word": TEXT,
}  # fmt: skip

#: said shortly before a word, that it is not so
_DENIED = re.compile(r"\b(?:no|not|without|free of)\b[^.;!]{0,20}$", re.IGNORECASE)


class Read(NamedTuple):
    """One finding as understood: under which word of ours, and by which of theirs.

    ``site_word`` is what was written where the site's own vocabulary puts it under ours; ``telling_word`` the
    one among free words or in a remark that stops the machine.
    """

    finding: str
    stop_class: bool
    severity: str
    abnormal: bool
    site_word: str = ""
    telling_word: str = ""


def findings(
    rows: pd.DataFrame, register: Register, settings: Layered[MeasuringSettings], first_night: int | None
) -> pd.DataFrame:
    """All findings under the words of the vocabulary.

    Parameters
    ----------
    rows : DataFrame
        Rows of the feed.
    register : Register
    settings : Layered[MeasuringSettings]
    first_night : int or None
        Night of the feed's first load.

    Returns
    -------
    DataFrame
        row_id, machine (the strand's own where blank), strand, day, pos, finding, stop_class, severity (the
        row's, else the vocabulary's), stated (the row's), abnormal, place, remark, raw_finding, first_load
        (it came with the feed's first load), in_joint (place or remark speak of a joint), site_word and
        telling_word (see :class:`Read`); sorted by row id.

    Raises
    ------
    SettingsError
        If the site's own words do not read.
    """
    known = words(str(settings.value("finding_words")), frozenset(VOCABULARY), "finding_words")
    site_words = {plain(theirs): ours for theirs, ours in known.items()}
    machine_of = dict(zip(register.lives["strand"], register.lives["machine"], strict=True))
    rows = rows.sort_values("row_id", ignore_index=True)
    said = list(zip(rows["finding"], rows["remark"], rows["severity"], strict=True))
    meant = {
        words: read(*words, site_words) for words in set(said)
    }  # most inspections find the same few things
    told = [meant[words] for words in said]
    machines = [
        machine or machine_of.get(strand, "")
        for machine, strand in zip(rows["machine"], rows["strand"], strict=True)
    ]
    return typed(
        {
            "row_id": rows["row_id"],
            "machine": machines,
            "strand": rows["strand"],
            "day": rows["seen_at_day"],
            "pos": rows["seen_at_pos"],
            "finding": [one.finding for one in told],
            "stop_class": [one.stop_class for one in told],
            "severity": [one.severity for one in told],
            "stated": rows["severity"],
            "abnormal": [one.abnormal for one in told],
            "place": rows["place"],
            "remark": rows["remark"],
            "raw_finding": rows["finding"],
            "first_load": rows["known_from"] == first_night,
            "in_joint": [
                in_joint(place) or in_joint(remark)
                for place, remark in zip(rows["place"], rows["remark"], strict=True)
            ],
            "site_word": [one.site_word for one in told],
            "telling_word": [one.telling_word for one in told],
        },
        COLUMNS,
    )


def read(finding: str, remark: str, severity: str, site_words: dict[str, str]) -> Read:
    """One finding under its word, and whether it stops the machine.

    A word of the vocabulary brings its severity where the row states none, and stops where its remark speaks
    of breaking; slack stops where it came with one event. Free words that speak of breaking stop, said with
    *no* too, until a person has read them.

    Parameters
    ----------
    finding, remark, severity : str
        As delivered.
    site_words : dict
        The site's own words in plain text, to ours.

    Examples
    --------
    >>> read("Cracked  Bushing", "", "", {})[:4]
    ('cracked_bushing', True, 'stop', True)
    >>> read("rust", "no cracks", "", {}).stop_class, read("rust", "pin cracked too", "", {}).stop_class
    (False, True)
    >>> read("Bolzen gebrochen", "", "soon", {"bolzen gebrochen": "broken_pin"})[:2]
    ('broken_pin', True)
    >>> read("rust", "pin cracked too", "", {}).telling_word
    'cracked'
    """
    word = VOCABULARY.get(classified(finding, site_words))
    if word is None:
        telling = stop_word(f"{finding} {remark}")
        usual = STOP if telling else NOTE
        return Read(
            UNCLASSIFIED,
            bool(telling) or severity == STOP,
            severity or usual,
            abnormal=False,
            telling_word=telling,
        )
    event = EVENT_WORDS.search(f"{finding} {remark}") if word.word == SLACK else None
    telling = event.group(0) if event else _said(remark, STOP_WORDS)
    stops = word.stop_class or bool(telling)
    usual = STOP if stops else word.severity
    return Read(
        word.word,
        stops or severity == STOP,
        severity or usual,
        word.abnormal,
        site_word=" ".join(finding.split()) if plain(finding) in site_words else "",
        telling_word=telling,
    )


def classified(text: str, site_words: dict[str, str]) -> str:
    """The word of the vocabulary for what was written, else *unclassified*; the site's own words go first."""
    return site_words.get(plain(text)) or WORD_OF.get(plain(text), UNCLASSIFIED)


def in_joint(text: str) -> bool:
    """Whether a place or remark speaks of a joint, or of its bore, and does not deny it.

    Examples
    --------
    >>> in_joint("sectioned joint 4"), in_joint("surface only, not in the joints"), in_joint("joints clean")
    (True, False, False)
    """
    return bool(_said(text, JOINT_WORDS))


def _said(text: str, wanted: re.Pattern[str]) -> str:
    """The first such word that a text does not deny shortly before, blank for none."""
    found = (each for each in wanted.finditer(text) if not _DENIED.search(text[: each.start()]))
    return next((each.group(0) for each in found), "")
