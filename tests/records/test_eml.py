"""What describes an export as a set is EML: by its schema where that is at hand, else by structure.

The schema is under the GPL and is not kept here. It lies in the package pyemllib, under
emllib/schemas/eml/eml-2.2.0/eml.xsd; HALTERE_EML_SCHEMA names that file.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from lxml import etree

from haltere.records.archive import eml_xml
from haltere.records.terms import LICENCES, Titles

ODD = 'Ana & "Bo" <ana@example.org>, Évora'
IDS = ["urn:uuid:1", "urn:uuid:2"]
NEWEST = "2031-06-14T18:04:12+00:00"


def described(licence: str, title: str = "Sightings") -> bytes:
    return eml_xml(Titles(title, ODD, licence), f"Records of {ODD}", IDS, NEWEST)


@pytest.fixture(scope="module")
def schema() -> etree.XMLSchema:
    """The schema of EML 2.2.0."""
    said = os.environ.get("HALTERE_EML_SCHEMA")
    if said is None or not Path(said).is_file():
        pytest.skip("the schema of EML is not here; see the top of this file")
    return etree.XMLSchema(etree.parse(said))


@pytest.mark.parametrize("licence", LICENCES)
def test_it_is_valid_by_the_schema_of_the_standard(schema: etree.XMLSchema, licence: str) -> None:
    found = etree.fromstring(described(licence))
    assert schema.validate(found), schema.error_log
    found.find("dataset").remove(found.find("dataset/contact"))
    assert not schema.validate(found)  # the schema can say no


@pytest.mark.parametrize("licence", LICENCES)
def test_its_structure_without_the_schema_has_what_a_reader_needs(licence: str) -> None:
    root = etree.fromstring(described(licence, ODD))
    assert root.tag == "{https://eml.ecoinformatics.org/eml-2.2.0}eml"
    assert root.get("packageId")
    assert root.get("system") == "haltere"
    order = [one.tag for one in root.find("dataset")]
    assert order == [
        "title", "creator", "pubDate", "language", "abstract", "intellectualRights", "contact",
    ]  # fmt: skip
    assert root.findtext("dataset/title") == ODD
    for who in ("creator", "contact"):
        assert root.findtext(f"dataset/{who}/individualName/surName") == ODD
    assert root.findtext("dataset/pubDate") == "2031-06-14"
    link = root.find("dataset/intellectualRights/para/ulink")
    said = "".join(root.find("dataset/intellectualRights").itertext())
    assert (said if link is None else link.get("url")).strip() == LICENCES[licence]
