"""From what was read on the tape to the length at 20 degC, the elongation over nominal and their doubts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from takeup.derive.layers import shared
from takeup.derive.lives import OFFSET, Register
from takeup.derive.settings import MeasuringSettings
from takeup.errors import SettingsError
from takeup.layered import Layered
from takeup.wear import elongation
from takeup.wear.arguments import Array, Whole

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

#: settings that may enter a reading's length, elongation or uncertainty; their places are bits
READ = (
    "tape_class", "tape_1_mm", "tape_1_mm_per_m", "tape_2_mm", "tape_2_mm_per_m", "tape_3_mm",
    "tape_3_mm_per_m", "step_mm", "u_repeat_mm", "u_pull_mm", "careless_pull_times", "u_temperature_k",
    "tape_as_chain_up_to_c", "hot_tape_c", "u_hot_tape_k", "u_no_temperature_k", "carbon_um_per_m_k",
    "stainless_um_per_m_k", "tape_um_per_m_k", "percent_only_points",
)  # fmt: skip

_CARELESS = ("dirty", "slack", "unknown")
_WARMTH = (
    "u_temperature_k", "tape_as_chain_up_to_c", "hot_tape_c", "u_hot_tape_k", "u_no_temperature_k",
)  # fmt: skip


def lengths(
    rows: pd.DataFrame, life: Whole, register: Register, settings: Layered[MeasuringSettings]
) -> dict[str, Any]:
    """Length at 20 degC, elongation over nominal and their uncertainties.

    Only the chain's temperature or none may have been written down, the tape's class too; the state of the
    chain makes the pull less certain, and an odd span on alternate links adds its own doubt.

    Parameters
    ----------
    rows : DataFrame
        Rows of the feed, in the order wanted.
    life : (n,) int
        Life of each.

    Returns
    -------
    dict
        The columns of :class:`takeup.derive.readings.Readings` that come from the tape: pitches, pitch_mm,
        raw_mm, length_mm, e_geo, u_length_mm, u_geo, odd, outer, side_known, percent_only, read; (n,) each.

    Raises
    ------
    SettingsError
        If the usual tape class is none of I, II and III.
    """
    lives = register.lives
    machine, strand = lives["machine"].to_numpy(dtype=object), lives["strand"].to_numpy(dtype=object)

    def value(name: str) -> Array:
        return settings.column(name, machine, strand)[life].astype(np.float64)

    pitch = lives["pitch_mm"].to_numpy(np.float64)[life]
    written, count = rows["length_mm"].to_numpy(np.float64), rows["pitches"].to_numpy(np.float64)
    percent = rows["elongation_percent"].to_numpy(np.float64)
    percent_only = ~np.isnan(percent) & (np.isnan(written) | np.isnan(count) | np.isnan(pitch))
    raw, pitches = (np.where(percent_only, np.nan, known) for known in (written, count))

    stainless = lives["steel"].to_numpy(dtype=object)[life] == "austenitic_stainless"
    alpha = np.where(stainless, value("stainless_um_per_m_k"), value("carbon_um_per_m_k")) / 1e6
    chain_c, tape_c, u_k = _temperatures(rows, life, machine, strand, settings)
    length = elongation.length_at_20c(raw, chain_c, tape_c, alpha, value("tape_um_per_m_k") / 1e6)

    tape = _tape_classes(rows, life, settings.column("tape_class", machine, strand))
    classes = [tape == "I", tape == "III"]
    careless = np.isin(rows["method"].to_numpy(dtype=object), _CARELESS)
    u_length = elongation.length_uncertainty(
        raw,
        a_mm=np.select(classes, [value("tape_1_mm"), value("tape_3_mm")], value("tape_2_mm")),
        b_mm_per_m=np.select(
            classes, [value("tape_1_mm_per_m"), value("tape_3_mm_per_m")], value("tape_2_mm_per_m")
        ),
        step_mm=value("step_mm"),
        u_repeat_mm=value("u_repeat_mm"),
        u_pull_mm=value("u_pull_mm") * np.where(careless, value("careless_pull_times"), 1.0),
        u_temperature_k=u_k,
        alpha_per_k=alpha,
    )
    e_geo = np.where(percent_only, percent, elongation.geometric_elongation(length, pitches, pitch))
    odd = (pitches % 2 == 1) & ~np.isin(lives["construction"].to_numpy(dtype=object), OFFSET)[life]
    start = rows["start_link"].to_numpy(dtype=object)
    u_geo = np.hypot(
        elongation.geometric_uncertainty(u_length, pitches, pitch),
        np.where(odd, elongation.odd_span_uncertainty(e_geo, pitches), 0.0),
    )
    return {
        "pitches": pitches, "pitch_mm": pitch, "raw_mm": raw, "length_mm": length, "e_geo": e_geo,
        "u_length_mm": u_length, "u_geo": np.where(percent_only, value("percent_only_points") / 2.0, u_geo),
        "odd": odd, "outer": start == "outer", "side_known": start != "", "percent_only": percent_only,
        "read": _read(rows, tape, careless, stainless, percent_only, value("tape_as_chain_up_to_c")),
    }  # fmt: skip


def _read(
    rows: pd.DataFrame,
    tape: NDArray[np.object_],
    careless: NDArray[np.bool_],
    stainless: NDArray[np.bool_],
    percent_only: NDArray[np.bool_],
    same_up_to_c: Array,
) -> Whole:
    """Which of :data:`READ` each reading was reckoned with, as bits."""
    warm, taped = (
        ~np.isnan(rows[f"{name}_temperature_c"].to_numpy(np.float64)) for name in ("chain", "tape")
    )
    guessed = warm & ~taped
    hot = guessed & (rows["chain_temperature_c"].to_numpy(np.float64) > same_up_to_c)
    always = np.ones(tape.shape, dtype=bool)
    entered = {
        "tape_class": rows["instrument_class"].to_numpy(dtype=object) == "",
        **{
            f"tape_{number}_mm{per}": tape == name
            for number, name in ((1, "I"), (2, "II"), (3, "III"))
            for per in ("", "_per_m")
        },
        **dict.fromkeys(("step_mm", "u_repeat_mm", "u_pull_mm"), always),
        "careless_pull_times": careless,
        "u_temperature_k": warm & ~hot,
        "tape_as_chain_up_to_c": guessed,
        "hot_tape_c": hot,
        "u_hot_tape_k": hot,
        "u_no_temperature_k": ~warm,
        "carbon_um_per_m_k": ~stainless,
        "stainless_um_per_m_k": stainless,
        "tape_um_per_m_k": warm,
        "percent_only_points": percent_only,
    }
    bits = np.zeros(tape.shape, dtype=np.int64)
    for place, name in enumerate(READ):
        here = entered[name] if name == "percent_only_points" else entered[name] & ~percent_only
        bits |= here.astype(np.int64) << place
    return bits


def _tape_classes(rows: pd.DataFrame, life: Whole, usual: NDArray[np.object_]) -> NDArray[np.object_]:
    if unknown := sorted(set(usual.tolist()) - {"I", "II", "III"}):
        raise SettingsError(
            f"tape class {unknown[0]!r} is none of I, II and III",
            where="measuring, tape_class",
            why="The class gives the tape's limits of error.",
        )
    stated = rows["instrument_class"].to_numpy(dtype=object)
    return np.where(stated == "", usual[life], stated)


def _temperatures(
    rows: pd.DataFrame,
    life: Whole,
    machine: NDArray[np.object_],
    strand: NDArray[np.object_],
    settings: Layered[MeasuringSettings],
) -> tuple[Array, Array, Array]:
    chain, tape = (rows[name].to_numpy(np.float64) for name in ("chain_temperature_c", "tape_temperature_c"))
    found = (np.full(chain.shape, np.nan), np.full(chain.shape, np.nan), np.full(chain.shape, np.nan))
    for warmth, lives in shared(settings, _WARMTH, machine, strand):
        part = np.flatnonzero(np.isin(life, lives))
        reckoned = elongation.reckoned_temperatures(
            chain[part],
            tape[part],
            u_known_k=warmth["u_temperature_k"],
            same_up_to_c=warmth["tape_as_chain_up_to_c"],
            hot_tape_c=warmth["hot_tape_c"],
            u_hot_k=warmth["u_hot_tape_k"],
            u_unknown_k=warmth["u_no_temperature_k"],
        )
        for whole, values in zip(found, reckoned, strict=True):
            whole[part] = values
    return found
