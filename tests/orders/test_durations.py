"""How many hours of a stop a job needs. Bases: common practice, no source; a site's value goes first."""

from __future__ import annotations

from datetime import date

import pytest

from takeup.layered import Layered, Override
from takeup.model import Job
from takeup.orders.durations import basis
from takeup.orders.settings import OrdersSettings

DEFAULTS = Layered(OrdersSettings())


@pytest.mark.parametrize(
    ("job", "strands", "questions", "hours"),
    [
        (Job.MEASURE, 1, 1, 0.5 + 4 * 0.25),
        (Job.MEASURE, 2, 5, 0.5 + 8 * 0.25),
        (Job.LUBRICATE, 2, 2, 1.5),
        (Job.ADJUST_TAKEUP, 2, 1, 8.0),
        (Job.INSPECT_ALIGNMENT, 2, 1, 10.0),
        (Job.INVESTIGATE_FRACTURE, 2, 1, 8.0),
        (Job.SPROCKETS, 2, 3, 3 * 12.0),
    ],
)
def test_a_job_is_planned_by_its_longest_usual_time(
    job: Job, strands: int, questions: int, hours: float
) -> None:
    found = basis(job, "M", strands, questions, DEFAULTS)
    assert found is not None
    assert found.hours == pytest.approx(hours)
    assert found.is_default
    assert found.origins == ("default, common practice, no source",)


@pytest.mark.parametrize("job", [Job.REPLACE_SET, Job.CORRECT_DATA])
def test_a_replacement_goes_by_its_metres_and_data_keep_no_machine(job: Job) -> None:
    assert basis(job, "M", 2, 1, DEFAULTS) is None


def test_a_value_of_the_site_is_told_with_who_answers_for_it() -> None:
    mine = Override(0.5, "narrow doors", "steward", date(2026, 1, 12), date(2027, 1, 12), "takeup.toml")
    settings = Layered(OrdersSettings(), machine={"M": {"measure_hours_per_mark": mine}})
    found = basis(Job.MEASURE, "M", 2, 1, settings)
    assert found is not None
    assert found.hours == pytest.approx(0.5 + 8 * 0.5)
    assert not found.is_default
    assert any("narrow doors; steward" in origin for origin in found.origins)
