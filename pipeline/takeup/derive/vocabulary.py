"""The words of findings, as data: what each asks for, and how else people say it.

Causes and actions are common practice, no source; the symptoms of chain drives agree with MIL-HDBK-1164,
Table 48. Free words are put under these by :mod:`takeup.derive.findings`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from takeup.model import Job

UNCLASSIFIED = "unclassified"
NOTHING_FOUND = "nothing_found"
SLACK = "slack"
STOP, SOON, SHUTDOWN, NOTE = SEVERITIES = ("stop", "soon", "shutdown", "note")
#: what is judged by where it sits and how often it is seen, not by one row
CORROSION = ("pitting", "rust")


@dataclass(frozen=True)
class Word:
    """One word of the vocabulary.

    ``severity`` holds where the row states none; ``jobs`` is the work it asks for, the chief one first;
    ``abnormal``: not explained by even wear of pin and bushing; ``also`` are other ways to say it.
    """

    word: str
    severity: str
    jobs: tuple[Job, ...]
    abnormal: bool
    also: tuple[str, ...] = ()

    @property
    def stop_class(self) -> bool:
        """Whether the machine must not run on it."""
        return self.severity == STOP

    @property
    def fracture(self) -> bool:
        """Whether the whole system is looked at, never a link replaced and forgotten."""
        return Job.INVESTIGATE_FRACTURE in self.jobs[:1]


_BREAK = (Job.INVESTIGATE_FRACTURE,)
_ALIGN = (Job.INSPECT_ALIGNMENT,)
_TRACK = (Job.INSPECT_ALIGNMENT, Job.REPLACE_SET)
_LUBE = (Job.LUBRICATE, Job.INSPECT_ALIGNMENT)
_TIGHTEN = (Job.ADJUST_TAKEUP, Job.MEASURE)
_MEASURE = (Job.MEASURE,)
_YES, _NO = True, False

VOCABULARY: dict[str, Word] = {
    word.word: word
    for word in (
        Word("cracked_bushing", STOP, _BREAK, _YES, ("cracked barrel", "bushing cracked", "broken bushing")),
        Word("cracked_pin", STOP, _BREAK, _YES, ("pin cracked",)),
        Word("broken_pin", STOP, _BREAK, _YES, ("pin broken", "sheared pin")),
        Word("cracked_sidebar", STOP, _BREAK, _YES, ("cracked link plate", "sidebar cracked")),
        Word("broken_sidebar", STOP, _BREAK, _YES, ("broken link plate", "sidebar broken", "broken link")),
        Word("broken_roller", SOON, _TRACK, _YES, ("roller broken",)),
        Word("stiff_link", SOON, _LUBE, _YES, ("seized joint", "stiff joint", "tight link")),
        Word("side_rub", SOON, _ALIGN, _YES, ("rub on sidebars", "side rubbing")),
        Word("pin_end_rub", SOON, _ALIGN, _YES, ("pin ends rub", "rub on casing", "rub on guard")),
        Word("hooked_teeth", SHUTDOWN, (Job.SPROCKETS,), _NO, ("hooked tooth", "hooked sprocket")),
        Word("tooth_tip_wear", SHUTDOWN, _MEASURE, _NO, ("chain high on teeth", "worn tooth tips")),
        Word("jumping", STOP, _TIGHTEN, _YES, ("jumping teeth", "chain jumps")),
        Word("climbing", STOP, _TIGHTEN, _YES, ("climbing teeth", "chain climbs")),
        Word("loose_pin", STOP, _BREAK, _YES, ("pin loose",)),
        Word("turned_pin", STOP, _BREAK, _YES, ("pin turned", "rotated pin")),
        Word("missing_retainer", STOP, _ALIGN, _YES, ("missing cotter", "missing clip", "cotter missing")),
        Word("pitting", NOTE, _ALIGN, _NO, ("corrosion pits",)),
        Word("rust", NOTE, _ALIGN, _NO, ("rusty", "corrosion")),
        Word("seal_missing", SHUTDOWN, _ALIGN, _NO, ("missing seal", "seal lost")),
        Word("seal_crushed", SHUTDOWN, _ALIGN, _NO, ("crushed seal",)),
        Word("flat_roller", SHUTDOWN, _TRACK, _NO, ("flat rollers", "roller flat")),
        Word("sloppy_roller", SHUTDOWN, _TRACK, _NO, ("loose roller",)),
        Word("thin_sidebar", SHUTDOWN, (Job.SPROCKETS, Job.REPLACE_SET), _NO, ("edge wear", "thin sidebars")),
        Word("bent_attachment", SOON, _ALIGN, _YES, ("bent flight", "bent wing", "bent lug")),
        Word("loose_bucket", SOON, _ALIGN, _YES, ("bucket loose", "loose flight")),
        Word("takeup_at_end", SOON, (Job.ADJUST_TAKEUP,), _NO, ("take-up at end", "take-up full")),
        Word("takeup_uneven", SOON, _MEASURE, _YES, ("take-up uneven", "uneven take-up")),
        Word("strands_uneven", SOON, _MEASURE, _YES, ("uneven strands",)),
        Word(SLACK, SOON, (Job.ADJUST_TAKEUP,), _YES, ("slack chain", "sudden slack", "slack after jam")),
        Word("packing", SOON, _ALIGN, _NO, ("packed roots", "packed material")),
        Word("build_up", SOON, _ALIGN, _NO, ("buildup", "build-up")),
        Word("noise_popping", NOTE, _MEASURE, _NO, ("popping", "popping noise")),
        Word("scratched_joint", NOTE, _ALIGN, _NO, ("scratches in the joint", "joint scratched")),
        Word("knock", NOTE, _MEASURE, _NO, ("knocking",)),
        Word("hot_joint", SOON, _LUBE, _NO, ("joint hot",)),
        Word("discoloured", SOON, _LUBE, _NO, ("discolored", "blue tint")),
        Word("wrong_direction", SHUTDOWN, _ALIGN, _NO, ("link reversed", "links reversed")),
        Word("mixed_links", SHUTDOWN, _ALIGN, _NO, ("mixed chain",)),
        Word(NOTHING_FOUND, NOTE, (), _NO, ("seen, nothing found", "no finding", "no findings", "in order")),
    )
}

#: free words that speak of breaking; proposed for takeup, no source
STOP_WORDS = re.compile(r"\b(?:crack|broke|shear)\w*", re.IGNORECASE)
#: what says that a finding is in a joint, and what after it says that it is not
JOINT_WORDS = re.compile(
    r"\b(?:joints?|bores?)\b(?!\W+(?:(?:is|are|was|were|looks?)\W+)?(?:clean|free|dry|sound|good|fine|ok|not)\b)",
    re.IGNORECASE,
)
#: slack that came with one event may be stretched links: what the machine stands for
EVENT_WORDS = re.compile(r"\b(?:jam|sudden|event|trip|overload|stretch|yield|weld)\w*", re.IGNORECASE)


def stop_word(text: str) -> str:
    """The word of breaking in free text, ``""`` if there is none. Said with *no* or *not* it still counts.

    Examples
    --------
    >>> stop_word("link Sheared at mark 3"), stop_word("no cracks seen"), stop_word("squeals")
    ('Sheared', 'cracks', '')
    """
    found = STOP_WORDS.search(text)
    return found.group(0) if found else ""


def plain(text: str) -> str:
    """A text in small letters with single spaces for signs, to compare by."""
    return " ".join(re.sub(r"[\s_\-/,.]+", " ", text.casefold()).split())


WORD_OF: dict[str, str] = {
    plain(said): word.word for word in VOCABULARY.values() for said in (word.word, *word.also)
}
"""Every way to say a word, in plain text."""
