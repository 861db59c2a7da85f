"""A first load brings years of findings: of chains long replaced they stop no machine, of today's they do."""

from __future__ import annotations

import json
import re
from datetime import timedelta

from tests.night import plant
from tests.night.told import ONE

from takeup.night import nightly

FIRST, SECOND = plant.NIGHTS[:2]


def finding(strand: str, day: str) -> dict[str, str]:
    return {
        "machine": "",
        "strand": strand,
        "seen_at": day,
        "finding": "cracked_bushing",
        "remark": "right across",
    }


def stops(site, number: int) -> dict[str, dict]:
    """Open orders that stop a machine, by what their reasons are about."""
    path = site.folders.queue / f"night-{number:06d}" / "orders.json"
    orders = json.loads(path.read_text("utf-8"))["orders"]
    found = {order["machine"]: order for order in orders if order["job"] == "investigate_fracture"}
    assert all(order["urgency"] == "stop now" for order in found.values())
    return found


def fitted() -> dict[str, str]:
    """Strand to the day its present chain was fitted."""
    lives = plant.rows_of(plant.exports(FIRST, ONE)["strands_2026-08-31.csv"])
    return {
        row["strand"]: max(one["fitted_on"] for one in lives if one["strand"] == row["strand"])
        for row in lives
    }


def test_a_fracture_of_a_chain_since_replaced_stops_nothing_and_one_of_todays_chain_does(tmp_path):
    site = plant.site(tmp_path / "s")
    exports = plant.exports(FIRST, ONE)
    exports["inspection_findings_2026-08-31.csv"] = plant.csv_of([finding("FE-32-A", "2023-05-02")])
    plant.deliver(site, exports)
    assert fitted()["FE-32-A"] > "2023-05-02"
    nightly(site, as_of=FIRST)
    assert stops(site, 1) == {}
    # The same words as news of a later night stand, replaced or not: nobody has yet asked why it broke.
    news = {"inspection_findings_2026-09-01.csv": plant.csv_of([finding("FE-32-A", "2023-05-03")])}
    plant.deliver(site, news)
    nightly(site, as_of=SECOND)
    assert set(stops(site, 2)) == {"FE-32"}


def test_a_fracture_of_the_chain_that_runs_stays_until_its_order_is_closed_as_its_page_says(tmp_path):
    site = plant.site(tmp_path / "s")
    exports = plant.exports(FIRST, ONE)
    exports["inspection_findings_2026-08-31.csv"] = plant.csv_of([finding("FE-32-B", "2026-08-20")])
    plant.deliver(site, exports)
    nightly(site, as_of=FIRST)
    order = stops(site, 1)["FE-32"]
    page = (site.folders.queue / "current" / "orders" / f"{order['number']}.html").read_text("utf-8")
    said = " ".join(re.sub("<[^>]+>", " ", page).split())
    assert "closeouts_to_fill.csv" in said
    assert "Nothing but a close-out ends this order" in said
    form = plant.rows_of((site.folders.queue / "current" / "closeouts_to_fill.csv").read_bytes())
    (line,) = [row for row in form if row["order"] == order["number"]]
    line |= {"outcome": "done", "done_on": SECOND.isoformat(), "recorded_at": SECOND.isoformat()}
    plant.deliver(site, {"closeouts_filled.csv": plant.csv_of(form)})
    nightly(site, as_of=SECOND)
    assert set(stops(site, 2)) == {"FE-32"}
    index = (site.folders.queue / "current" / "index.html").read_text("utf-8")
    assert "leaves blank as_found, as_left, recorded_by" in index
    line |= {"as_found": "pin broken by tramp iron", "as_left": "set renewed", "recorded_by": "engineer 1"}
    plant.deliver(site, {"closeouts_filled_2.csv": plant.csv_of(form)})
    nightly(site, as_of=SECOND + timedelta(days=1))
    assert stops(site, 3) == {}
    index = (site.folders.queue / "current" / "index.html").read_text("utf-8")
    assert "as found pin broken by tramp iron" in index
    assert "leaves blank" not in index
