"""Why a row is set aside, and what is noted of a survey. The sentences are templates, one a reason."""

from __future__ import annotations

from enum import StrEnum


class Reason(StrEnum):
    """What other rows decide about a row; its own cells were in order."""

    BEFORE_FITTING = "before_fitting"
    AFTER_REMOVAL = "after_removal"
    WHOLE_PITCH_MISCOUNT = "whole_pitch_miscount"
    PINS_COUNTED = "pins_counted"
    IMPOSSIBLE_LENGTH = "impossible_length"
    NEGATIVE_WEAR = "negative_wear"
    FALLS_TO_NEW = "falls_to_new"
    MARK_FELL = "mark_fell"
    COPIED_SURVEY = "copied_survey"
    SWAPPED_STRANDS = "swapped_strands"
    HOURS_TOO_FAST = "hours_too_fast"
    METER_DROPPED = "meter_dropped"
    METER_STUCK = "meter_stuck"


class Note(StrEnum):
    """What a survey that stands is to be read with; a survey set aside bears its reason instead."""

    NONE = ""
    NO_PITCH = "no_pitch"
    """The pitch of the chain is not known, so that a length says nothing yet."""
    ODD_SPAN = "odd_span"
    """An odd span on alternate links whose starting link is not known: for the trend only."""
    PERCENT_ONLY = "percent_only"
    """No lengths were handed in, only per cent."""
    DROPPED = "dropped"
    """Fell by more than the uncertainty, and another measurement says the same."""
    DROPPED_A_LITTLE = "dropped_a_little"
    """Fell, within the uncertainty."""
    MARKS_LEFT_OUT = "marks_left_out"
    """Some of its marks were set aside."""
    METER_STUCK = "meter_stuck"
    """The meter stood still while the chain wore: not for a rate."""
