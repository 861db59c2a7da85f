"""A chain that is dry by decision is never lubricated on our word, whatever is known of it.

Whole plants are drawn: lube records, findings in every word and severity, on strands and on machines, history
of close-outs, register values, wear, hours, and settings over their whole range.
"""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.judgement.plant import MONDAY, due, findings, judged, lubed, overridden, strand, worn
from tests.orders.plant import closeout_frame, shutdown_frame

from takeup.derive.lubesettings import DRY, Lubrication
from takeup.derive.vocabulary import UNCLASSIFIED, VOCABULARY
from takeup.layered import Layered
from takeup.model import Job
from takeup.orders.book import update
from takeup.orders.settings import OrdersSettings

if TYPE_CHECKING:
    from takeup.judgement.judging import Judged

PLANS = [DRY, "open_conveyor", "sealed_greaseable", "manual_drive", ""]
MACHINES = ("BE-1", "DC-2")
STRANDS = {"BE-1-A": "BE-1", "BE-1-B": "BE-1", "DC-2-A": "DC-2"}
FIELDS = {name: item.metadata for name, item in Lubrication.__dataclass_fields__.items()}

day = st.integers(MONDAY - 400, MONDAY)
hours = st.floats(0, 20_000) | st.just(np.nan)
quantity = st.sampled_from([np.nan, 0.0, 10.0, 48.0, 500.0])


@st.composite
def rows(draw: st.DrawFn, name: str) -> dict[str, Any]:
    """A strand of the state frame."""
    return strand(
        name,
        machine=STRANDS[name],
        set=STRANDS[name],
        lube_plan=draw(st.sampled_from(PLANS)),
        lube_interval_hours=draw(st.sampled_from([np.nan, 8.0, 100.0])),
        lube_quantity_ml=draw(st.sampled_from([np.nan, 0.0, 48.0])),
        lube_last_hours=draw(hours),
        lube_last_day=draw(st.just(np.nan) | day.map(float)),
        lube_newest_day=draw(st.just(np.nan) | day.map(float)),
        lube_given_ml=draw(quantity),
        lube_blank_quantity_run=draw(st.integers(0, 3)),
        dry_greased=draw(st.booleans()),
        hours_now=draw(hours),
        wet=draw(st.sampled_from(["yes", "no", ""])),
        **worn(draw(st.sampled_from([0.2, 1.6, 2.9]))),
    )


finding = st.builds(
    lambda word, where, severity, on, stop, remark: {
        "finding": word, "strand": where if where in STRANDS or where == "gone" else "",
        "machine": STRANDS.get(where, where if where in MACHINES else "BE-1"), "severity": severity,
        "day": on, "stop_class": stop, "remark": remark,
    },
    st.sampled_from(["hot_joint", "stiff_link", "discoloured", *VOCABULARY, UNCLASSIFIED]),
    st.sampled_from([*STRANDS, *MACHINES, "gone"]),
    st.sampled_from(["", "note", "shutdown", "soon", "stop"]),
    day,
    st.booleans(),
    st.sampled_from(["", "grease it", "broke"]),
)  # fmt: skip


@st.composite
def plants(draw: st.DrawFn) -> tuple[list[dict[str, Any]], Judged]:
    """Three strands on two machines, judged."""
    strands = [draw(rows(name)) for name in STRANDS]
    values = {
        name: draw(
            st.integers(about["low"], about["high"])
            if isinstance(about["low"], int)
            else st.floats(about["low"], about["high"])
        )
        for name, about in FIELDS.items()
        if draw(st.booleans())
    }
    history = draw(
        st.dictionaries(
            st.tuples(st.sampled_from(list(Job)), st.sampled_from([*MACHINES, "lube_records/greased"])),
            day.map(float),
            max_size=4,
        )
    )
    records = [
        {"strand": name, "dry_records": [5], "last_day": draw(day.map(float))}
        for name in STRANDS
        if draw(st.booleans())
    ]
    found = judged(
        *strands,
        findings=findings(*draw(st.lists(finding, max_size=5))),
        lube=lubed(*records),
        history=history,
        settings=overridden("lubrication", **values),
    )
    return strands, found


@settings(max_examples=60, deadline=None)
@given(plants())
def test_no_order_to_lubricate_names_a_chain_that_is_dry_by_decision(
    plant: tuple[list[dict[str, Any]], Judged],
) -> None:
    strands, found = plant
    dry = {row["strand"] for row in strands if row["lube_plan"] == DRY}
    for each in found.due:
        assert each.job is not Job.LUBRICATE or each.subject not in dry, each
    book = update(
        found.due,
        found.verdicts.assign(evidence_known=1),
        [],
        closeout_frame([]),
        state=found.prognosis,
        shutdowns=shutdown_frame(),
        night=1,
        as_of=date(2026, 3, 2),
        settings=Layered(OrdersSettings()),
    )
    for order in book.orders:
        assert order.job is not Job.LUBRICATE or not dry & set(order.strands), order


@pytest.mark.parametrize("word", ["hot_joint", "stiff_link", "discoloured"])
@pytest.mark.parametrize(
    ("plans", "where", "job"),
    [
        pytest.param(("open_conveyor", DRY), "BE-1-A", Job.LUBRICATE, id="on the lubricated strand"),
        pytest.param(("open_conveyor", DRY), "BE-1-B", Job.INSPECT_ALIGNMENT, id="on the dry one"),
        pytest.param(("open_conveyor", DRY), "", Job.INSPECT_ALIGNMENT, id="on one of the two"),
        pytest.param(("open_conveyor", "open_conveyor"), "", Job.LUBRICATE, id="on one of two lubricated"),
        pytest.param((DRY, DRY), "", Job.INSPECT_ALIGNMENT, id="on one of two dry ones"),
        pytest.param(("open_conveyor", DRY), "BE-1-C", Job.INSPECT_ALIGNMENT, id="on one that is gone"),
    ],
)
def test_a_dry_joint_asks_for_oil_only_where_the_chain_is_known_to_take_it(
    word: str, plans: tuple[str, str], where: str, job: Job
) -> None:
    rows = [strand(f"BE-1-{side}", lube_plan=plan) for side, plan in zip("AB", plans, strict=True)]
    found = judged(*rows, findings=findings({"finding": word, "strand": where}), only=("abnormal_finding",))
    assert due(found, "abnormal_finding", where or "BE-1").job is job
