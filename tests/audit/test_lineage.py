"""The lineage of an order as PROV-JSON, read by a library of others and followed back to the export's bytes.

Sources: T. D. Huynh et al., The PROV-JSON Serialization, W3C Member Submission, 24 April 2013; PROV-DM, W3C
Recommendation, 30 April 2013, section 5. They are read by the package ``prov``, which implements both and
shares no code with ours.
"""

from __future__ import annotations

import hashlib
import json

import prov.model
import pytest
from tests.night.told import told

from takeup.site import Site
from takeup.why import why

#: sections 2 to 4 of the submission: what may stand at the top of a document
SECTIONS = {
    "prefix", "entity", "activity", "agent", "wasGeneratedBy", "used", "wasInformedBy", "wasStartedBy",
    "wasEndedBy", "wasInvalidatedBy", "wasDerivedFrom", "wasAttributedTo", "wasAssociatedWith",
    "actedOnBehalfOf", "wasInfluencedBy", "specializationOf", "alternateOf", "hadMember", "bundle",
}  # fmt: skip


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    return told(tmp_path_factory.mktemp("lineage") / "s", 2)


@pytest.fixture(scope="module")
def documents(site: Site) -> dict[str, dict]:
    path = site.folders.queue / "current" / "orders.json"
    numbers = [order["number"] for order in json.loads(path.read_text("utf-8"))["orders"]]
    return {number: why(site, number).lineage() for number in numbers}


def test_another_library_reads_it_and_writes_the_same_records(documents: dict[str, dict]) -> None:
    for document in documents.values():
        assert set(document) <= SECTIONS
        read = prov.model.ProvDocument.deserialize(content=json.dumps(document), format="json")
        assert len(read.get_records()) == sum(len(document[kind]) for kind in document if kind != "prefix")
        again = prov.model.ProvDocument.deserialize(content=read.serialize(format="json"), format="json")
        assert again == read


def test_every_name_that_a_relation_uses_is_declared(documents: dict[str, dict]) -> None:
    """And is of the kind that PROV-DM asks for in that place."""
    kinds = {
        "prov:entity": "entity", "prov:generatedEntity": "entity", "prov:usedEntity": "entity",
        "prov:activity": "activity", "prov:agent": "agent",
    }  # fmt: skip
    for document in documents.values():
        for relation in set(document) - {"prefix", "entity", "activity", "agent"}:
            for told_ in document[relation].values():
                for role, kind in kinds.items():
                    assert role not in told_ or told_[role] in document[kind], (relation, told_)
        named = {
            name.partition(":")[0] for kind in ("entity", "activity", "agent") for name in document[kind]
        }
        assert named <= set(document["prefix"])


def test_an_order_is_followed_back_to_the_bytes_of_its_exports(
    site: Site, documents: dict[str, dict]
) -> None:
    for number, document in documents.items():
        read = prov.model.ProvDocument.deserialize(content=json.dumps(document), format="json")
        sources: dict[str, set[str]] = {}
        for one in read.get_records(prov.model.ProvDerivation):
            made, used = (str(name) for name in one.args[:2])
            sources.setdefault(made, set()).add(used)
        order = max(
            (name for name in sources if name.startswith("order:")), key=lambda name: int(name.split(".")[-1])
        )
        assert number in order
        rows = {name for name in sources[order] if name.startswith("row:")}
        assert len(rows) == len(why(site, number).as_dict()["lines"])
        for row in rows:
            (file,) = sources[row]
            location = document["entity"][file]["prov:location"]
            content = (site.folders.root / location).read_bytes()
            assert f"file:{hashlib.sha256(content).hexdigest()}" == file
            assert 0 < document["entity"][row]["takeup:line"] <= content.count(b"\n") + 1


def test_pages_nights_settings_and_versions_are_part_of_it(site: Site, documents: dict[str, dict]) -> None:
    for number, document in documents.items():
        pages = [
            one for one in document["entity"].values() if one.get("prov:label") == f"orders/{number}.html"
        ]
        (page,) = pages
        content = (site.folders.root / page["prov:location"]).read_bytes()
        assert hashlib.sha256(content).hexdigest() == page["takeup:sha256"]
        agents = {one["prov:label"] for one in document["agent"].values()}
        assert any(label.startswith("takeup ") for label in agents)
        types = {one["prov:type"]["$"] for one in document["entity"].values()}
        assert {"takeup:Settings", "takeup:TableOfPastForecasts", "takeup:Order", "takeup:ExportRow"} <= types
        assert set(document["activity"]) >= {
            relation["prov:activity"] for relation in document["wasGeneratedBy"].values()
        }


def test_a_name_that_nobody_declared_would_be_seen(documents: dict[str, dict]) -> None:
    """The library refuses a name whose prefix is not declared: the check above can fail."""
    document = json.loads(json.dumps(next(iter(documents.values()))))
    del document["prefix"]["row"]
    with pytest.raises(prov.model.ProvException, match="identifier is missing"):
        prov.model.ProvDocument.deserialize(content=json.dumps(document), format="json")
