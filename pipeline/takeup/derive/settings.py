"""What readings are reckoned with: every default of measuring, with its unit, source and sensible range.

Numbers only; two texts hold lists because a settings file gives one value a key. Tables of words are read by
:func:`words`, lists of numbers by :func:`numbers`.
"""

from __future__ import annotations

from dataclasses import dataclass

from takeup.errors import SettingsError
from takeup.layered import setting
from takeup.model import Source

_TAPES = "UK SI 2016/1153 Schedule 1I Table 1, the same as EU directive 2014/32, annex X, MI-008"
_STEEL = "JCGM 100:2008, H.1; NIST tutorial, AISI 1050 11.2 to 11.5"


@dataclass(frozen=True)
class MeasuringSettings:
    """How lengths, meters and findings are read.

    A strand's value goes before its machine's, a machine's before the site's.
    """

    # ------------------------------------------------------------------------------------------ the tape
    tape_class: str = setting(
        "II",
        "1",
        Source.PRACTICE,
        "Accuracy class of the tape where a reading does not state it: I, II or III.",
    )
    tape_1_mm: float = setting(
        0.1, "mm", Source.VERIFIED, "Class I: fixed part of its limit.", low=0.0, high=5.0, citation=_TAPES
    )
    tape_1_mm_per_m: float = setting(
        0.1, "mm/m", Source.VERIFIED, "Class I: part a whole metre.", low=0.0, high=5.0, citation=_TAPES
    )
    tape_2_mm: float = setting(
        0.3, "mm", Source.VERIFIED, "Class II: fixed part of its limit.", low=0.0, high=5.0, citation=_TAPES
    )
    tape_2_mm_per_m: float = setting(
        0.2, "mm/m", Source.VERIFIED, "Class II: part a whole metre.", low=0.0, high=5.0, citation=_TAPES
    )
    tape_3_mm: float = setting(
        0.6, "mm", Source.VERIFIED, "Class III: fixed part of its limit.", low=0.0, high=5.0, citation=_TAPES
    )
    tape_3_mm_per_m: float = setting(
        0.4, "mm/m", Source.VERIFIED, "Class III: part a whole metre.", low=0.0, high=5.0, citation=_TAPES
    )
    step_mm: float = setting(
        1.0, "mm", Source.PROPOSED, "Smallest step that is read on the tape.", low=0.01, high=10.0
    )
    u_repeat_mm: float = setting(
        0.8, "mm", Source.PROPOSED, "Scatter of one reading (standard uncertainty).", low=0.0, high=10.0
    )
    u_pull_mm: float = setting(
        0.5, "mm", Source.PROPOSED, "Effect of an uneven pull (standard uncertainty).", low=0.0, high=20.0
    )
    careless_pull_times: float = setting(
        3.0,
        "1",
        Source.PROPOSED,
        "The pull of a chain measured dirty, slack or in an unknown state is so many times as uncertain.",
        low=1.0,
        high=20.0,
    )
    percent_only_points: float = setting(
        0.5,
        "points",
        Source.PROPOSED,
        "Expanded uncertainty of a reading handed in as per cent only.",
        low=0.05,
        high=3.0,
    )
    repeat_within_mm: float = setting(
        2.0,
        "mm",
        Source.PRACTICE,
        "A repeat so near the first reading of its mark confirms it.",
        low=0.0,
        high=20.0,
        finest="site",
    )
    # ------------------------------------------------------------------------------------- temperature
    u_temperature_k: float = setting(
        2.0,
        "K",
        Source.PROPOSED,
        "Uncertainty of a chain temperature that was written down.",
        low=0.0,
        high=50.0,
    )
    tape_as_chain_up_to_c: float = setting(
        60.0,
        "degC",
        Source.PROPOSED,
        "Up to here a tape of unwritten temperature is as warm as the chain it lies on.",
        low=20.0,
        high=200.0,
    )
    hot_tape_c: float = setting(
        40.0, "degC", Source.PROPOSED, "Temperature of such a tape on a hotter chain.", low=0.0, high=150.0
    )
    u_hot_tape_k: float = setting(
        12.0, "K", Source.PROPOSED, "Uncertainty of temperatures in that case.", low=0.0, high=100.0
    )
    u_no_temperature_k: float = setting(
        10.0,
        "K",
        Source.PROPOSED,
        "Uncertainty where no chain temperature was written down.",
        low=0.0,
        high=100.0,
    )
    carbon_um_per_m_k: float = setting(
        11.5,
        "µm/(m K)",
        Source.VERIFIED,
        "Thermal expansion of carbon steel chain.",
        low=5.0,
        high=25.0,
        citation=_STEEL,
    )
    stainless_um_per_m_k: float = setting(
        17.2,
        "µm/(m K)",
        Source.VERIFIED,
        "Thermal expansion of austenitic stainless chain.",
        low=5.0,
        high=25.0,
        citation="published table of thermal expansion, stainless 304, 0 to 100 degC",
    )
    tape_um_per_m_k: float = setting(
        11.5,
        "µm/(m K)",
        Source.VERIFIED,
        "Thermal expansion of the steel tape.",
        low=0.0,
        high=25.0,
        citation=_STEEL,
    )
    # --------------------------------------------------------------------------------------- the zero
    tolerance_roller_percent: float = setting(
        0.15,
        "%",
        Source.MEMORY,
        "Width of the new-length tolerance over nominal, roller drive chain.",
        low=0.0,
        high=3.0,
        citation="ISO 606, DIN 8187",
    )
    tolerance_cast_percent: float = setting(
        0.625,
        "%",
        Source.VERIFIED,
        "The same, cast mill chain.",
        low=0.0,
        high=3.0,
        citation="ASME B29.14M-1996, 2.3",
    )
    tolerance_other_percent: float = setting(
        0.25, "%", Source.MEMORY, "The same, other chain.", low=0.0, high=3.0, citation="ISO 1977"
    )
    latest_baseline_hours: float = setting(
        8.0, "h", Source.PROPOSED, "A first survey up to here may stand in for the zero.", low=0.0, high=24.0
    )
    # ----------------------------------------------------------------- strands that no register names
    pitch_mm: float = setting(
        float("nan"),
        "mm",
        Source.SITE,
        "Pitch of chain that no register names; without it a length says nothing.",
        low=5.0,
        high=1200.0,
    )
    machine: str = setting(
        "",
        "1",
        Source.SITE,
        "Machine of a strand that no register names; blank: the machine of the same name.",
    )
    # ------------------------------------------------------------- what other readings decide of a reading
    growth_bound: float = setting(
        1.2,
        "%/1000 h",
        Source.PRACTICE,
        "Growth taken for possible while a mark has no trend of its own.",
        low=0.05,
        high=10.0,
        finest="site",
    )
    growth_times: float = setting(
        2.0,
        "1",
        Source.PROPOSED,
        "Growth taken for possible, as a multiple of the mark's own trend.",
        low=1.0,
        high=10.0,
        finest="site",
    )
    bedding_percent: float = setting(
        0.25,
        "%",
        Source.PRACTICE,
        "Most a new chain grows while it beds in.",
        low=0.0,
        high=1.0,
        finest="site",
    )
    new_chain_hours: float = setting(
        100.0,
        "h",
        Source.PRACTICE,
        "Until here a chain counts as new and bedding in.",
        low=0.0,
        high=500.0,
        finest="site",
    )
    marks_apart_points: float = setting(
        0.3,
        "points",
        Source.PROPOSED,
        "How far marks of one survey may lie apart when they vouch for one another.",
        low=0.05,
        high=3.0,
        finest="site",
    )
    least_percent: float = setting(
        -5.0, "%", Source.PRACTICE, "Shorter over nominal no chain is.", low=-20.0, high=-1.0, finest="site"
    )
    most_percent: float = setting(
        15.0, "%", Source.PRACTICE, "Longer over nominal no chain runs.", low=5.0, high=50.0, finest="site"
    )
    copied_marks: int = setting(
        2,
        "marks",
        Source.PROPOSED,
        "So many marks, all equal to the last survey, look copied.",
        low=2,
        high=20,
        finest="site",
    )
    copied_sister_marks: int = setting(
        4,
        "marks",
        Source.PROPOSED,
        "So many marks, all equal to a sister strand's on one day, look copied.",
        low=2,
        high=20,
        finest="site",
    )
    copied_after_hours: float = setting(
        24.0,
        "h",
        Source.PROPOSED,
        "Surveys nearer than this in run hours may well be equal.",
        low=0.0,
        high=1000.0,
        finest="site",
    )
    new_takeup_part: float = setting(
        0.10,
        "1",
        Source.PRACTICE,
        "A take-up within this part of its travel from its start is back at its start.",
        low=0.0,
        high=0.5,
        finest="site",
    )
    # ------------------------------------------------------------------------------------------ the meter
    meter_moduli_hours: str = setting(
        "10000 100000",
        "h",
        Source.PRACTICE,
        "Hours at which meters start again from nought, smallest first.",
        finest="machine",
    )
    meter_near_top_part: float = setting(
        0.1,
        "1",
        Source.PROPOSED,
        "Part of a meter's range below its top in which a fall may be a roll-over.",
        low=0.0,
        high=0.5,
        finest="machine",
    )
    meter_slack_hours: float = setting(
        1.0,
        "h",
        Source.PROPOSED,
        "Tolerance on 24 hours a day and on a level meter.",
        low=0.0,
        high=24.0,
        finest="machine",
    )
    meter_stuck_days: float = setting(
        21.0,
        "d",
        Source.PRACTICE,
        "A meter that shows the same for longer may be stuck.",
        low=1.0,
        high=365.0,
        finest="machine",
    )
    stuck_gain_part: float = setting(
        0.25,
        "1",
        Source.PROPOSED,
        "Of the usual hours; fewer on a stuck meter while the chain wore: the meter is wrong.",
        low=0.0,
        high=1.0,
        finest="site",
    )
    utilisation_days: float = setting(
        90.0,
        "d",
        Source.PROPOSED,
        "Window of the usual hours per day, those of the middle date.",
        low=7.0,
        high=365.0,
        finest="machine",
    )
    utilisation_short_days: float = setting(
        30.0,
        "d",
        Source.PROPOSED,
        "Shorter window: the highest mean of the three counts for the early date.",
        low=7.0,
        high=365.0,
        finest="machine",
    )
    utilisation_long_days: float = setting(
        365.0,
        "d",
        Source.PROPOSED,
        "Longer window: the highest mean of the three counts for the early date.",
        low=7.0,
        high=1500.0,
        finest="machine",
    )
    utilisation_least_days: float = setting(
        7.0,
        "d",
        Source.PROPOSED,
        "Readings must cover so much of a window; for the whole site.",
        low=0.0,
        high=90.0,
        finest="site",
    )
    # ------------------------------------------------------------------------------------------ findings
    finding_words: str = setting(
        "",
        "1",
        Source.SITE,
        "The site's own words for findings: 'theirs = word of the vocabulary; theirs = word; ...'.",
        finest="site",
    )


def numbers(text: str, name: str) -> tuple[float, ...]:
    """The numbers of a settings text, smallest first.

    Raises
    ------
    SettingsError
        If one of them is not a number above nought.

    Examples
    --------
    >>> numbers("10000 100000", "meter_moduli_hours")
    (10000.0, 100000.0)
    """
    try:
        found = tuple(sorted(float(part) for part in text.replace(",", " ").split()))
    except ValueError:
        found = (0.0,)
    if not all(number > 0 for number in found):
        raise SettingsError(
            f"{text!r} is not a list of numbers above nought",
            where=f"measuring, {name}",
            todo="Write the numbers with spaces between, such as '10000 100000'.",
        )
    return found


def words(text: str, known: frozenset[str], name: str) -> dict[str, str]:
    """A table of words from a settings text: theirs to ours.

    Raises
    ------
    SettingsError
        If a pair is not a pair or ours is not known.

    Examples
    --------
    >>> words("split barrel = cracked_bushing; squeal = rust", frozenset({"cracked_bushing", "rust"}), "x")
    {'split barrel': 'cracked_bushing', 'squeal': 'rust'}
    """
    table = {}
    for pair in filter(None, (part.strip() for part in text.replace("\n", ";").split(";"))):
        theirs, sign, ours = (part.strip() for part in pair.partition("="))
        if not (theirs and sign and ours in known):
            raise SettingsError(
                f"{pair!r} is not 'theirs = ours' with one of our words",
                where=f"measuring, {name}",
                why="A finding put under a wrong word would lead to the wrong work.",
                todo=f"Our words are: {', '.join(sorted(known))}.",
            )
        table[theirs] = ours
    return table
