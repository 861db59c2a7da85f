"""What the record proves of the sprockets under a set.

That a sprocket is proved by the gauge before a new set goes on it, at a tenth of what meets the tooth: common
practice, no source. That old sprockets wear new chain fast: MIL-HDBK-1164, p. 236.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from tests.judgement.plant import MONDAY, checks, strand

from takeup.judgement.settings import JudgementSettings
from takeup.judgement.sprockets import SprocketLine, SprocketRecord

#: the present chain of the example strand was fitted on this day
FITTED = int(strand()["fitted_day"])


def lives(*spans: tuple[str, int, float]) -> pd.DataFrame:
    frame = pd.DataFrame(list(spans), columns=["strand", "fitted_day", "removed_day"])
    return frame.assign(machine="BE-1")


PRESENT = lives(("BE-1-A", FITTED, np.nan))


def found(
    *gauged: dict[str, Any], its: pd.DataFrame = PRESENT, rows: tuple[dict[str, Any], ...] = ()
) -> dict[str, SprocketLine]:
    """The lines by sprocket, those of no check by their shaft."""
    frame = checks(*gauged) if gauged else pd.DataFrame()
    strands = [{"rate": 0.2656} | row for row in rows or (strand(),)]
    record = SprocketRecord.of(frame, its, [row["strand"] for row in strands], JudgementSettings())
    lines = record.lines(strands)
    return {line.sprocket or f"{line.shaft} of {' '.join(line.strands)}": line for line in lines}


@pytest.mark.parametrize(
    ("check", "proof"),
    [
        ({"gauge_depth_mm": 4.3}, "sound"),
        ({"gauge_depth_mm": 4.4}, "worn_reversible"),
        ({"gauge_depth_mm": 4.4, "reversed": "yes"}, "worn_reversed"),
        ({"gauge_depth_mm": 1.0, "reversed": "yes"}, "sound_reversed"),
        ({"gauge_depth_mm": np.nan}, "not_gauged"),
        ({"gauge_depth_mm": 1.0, "checked_at_day": FITTED}, "gauged_before_chain"),
        # 1882 h at 0.2656 %/1000 h are 0.4999 points; 1884 h are 0.5004.
        ({"gauge_depth_mm": 1.0, "machine_hours": 5500 - 1882.0}, "sound"),
        ({"gauge_depth_mm": 1.0, "machine_hours": 5500 - 1886.0}, "gauged_old"),
        ({"gauge_depth_mm": 4.4, "machine_hours": 0.0}, "worn_reversible"),
        # Worn before this chain ran on it, it is no better now.
        ({"gauge_depth_mm": 4.4, "checked_at_day": FITTED}, "worn_reversible"),
        # A depth from before the sprocket was renewed is not this sprocket's.
        ({"gauge_depth_mm": 9.0, "checked_at_day": MONDAY - 9, "fitted_on_day": MONDAY - 3.0}, "not_gauged"),
    ],
)
def test_what_the_gauge_proves(check: dict[str, Any], proof: str) -> None:
    """Barrel 44.15 mm: worn at 4.4 mm."""
    line = found(check)["head"]
    assert (line.proof, line.limit_mm) == (proof, 4.4)
    assert line.unproved == (proof in ("not_gauged", "gauged_before_chain", "gauged_old"))


def test_without_the_diameter_no_depth_proves_anything() -> None:
    line = found({"gauge_depth_mm": 1.0}, rows=(strand(bushing_outside_mm=np.nan),))["head"]
    assert (line.proof, line.unproved, line.limit_mm) == ("no_diameter", True, None)


def test_a_depth_of_the_first_face_is_none_of_the_second() -> None:
    """Reversed since it was gauged: the face now working has never met the gauge."""
    line = found(
        {"gauge_depth_mm": 9.0, "checked_at_day": MONDAY - 20},
        {"gauge_depth_mm": np.nan, "reversed": "yes"},
    )["head"]
    assert (line.proof, line.depth_mm, line.reversed) == ("not_gauged", None, True)


def test_shafts_that_no_check_names_are_unproved_by_name() -> None:
    lines = found(
        {"sprocket": "head A"}, rows=(strand(teeth_tail=10.0), strand("BE-1-B", teeth_drive=np.nan))
    )
    assert {name: (line.proof, line.teeth) for name, line in lines.items()} == {
        "head A": ("sound", 12),
        "tail of BE-1-A": ("not_recorded", 10),
        "drive of BE-1-B": ("not_recorded", None),
        "tail of BE-1-B": ("not_recorded", 12),
    }
    assert set(found()) == {"drive of BE-1-A", "tail of BE-1-A"}


def test_a_sprocket_without_a_strand_is_under_all_of_the_set_and_others_are_left_out() -> None:
    lines = found(
        {"sprocket": "head", "strand": None},
        {"sprocket": "elsewhere", "strand": None, "machine": "BE-9"},
        {"sprocket": "other set", "strand": "BE-1-X"},
        rows=(strand(), strand("BE-1-B")),
    )
    assert lines["head"].strands == ("BE-1-A", "BE-1-B")
    assert not {"elsewhere", "other set"} & set(lines)


@pytest.mark.parametrize(
    ("fitted_on", "chains", "at_least"),
    [
        pytest.param(np.nan, None, False, id="day not on record"),
        pytest.param(FITTED + 10.0, 1, False, id="under the running chain"),
        pytest.param(float(FITTED), 1, False, id="with the present chain"),
        pytest.param(FITTED - 10.0, 2, False, id="under the chain before"),
        pytest.param(FITTED - 500.0, 2, False, id="with the chain before"),
        pytest.param(FITTED - 501.0, 2, True, id="before the register's first"),
    ],
)
def test_chains_served_are_the_lives_since_its_fitting(
    fitted_on: float, chains: int | None, at_least: bool
) -> None:
    its = lives(("BE-1-A", FITTED - 500, float(FITTED)), ("BE-1-A", FITTED, np.nan))
    line = found({"fitted_on_day": fitted_on}, its=its)["head"]
    assert (line.chains, line.at_least) == (chains, at_least)
