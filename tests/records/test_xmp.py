"""A sidecar says what was decided, and keeps what others wrote."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from haltere.errors import FrameError
from haltere.fieldbook.searching import VERDICTS, Found
from haltere.records.limits import LIMITS
from haltere.records.xmp import DC, RDF, XMP, verdict_in, with_verdict

RATING = f"{{{XMP}}}Rating"
SUBJECT = f"{{{DC}}}subject"


def packet(inside: str) -> bytes:
    rdf = f'<rdf:RDF xmlns:rdf="{RDF}">{inside}</rdf:RDF>'
    return f'<x:xmpmeta xmlns:x="adobe:ns:meta/">{rdf}</x:xmpmeta>'.encode()


def description(attributes: str = "", inside: str = "") -> str:
    return (
        f'<rdf:Description rdf:about="" xmlns:xmp="{XMP}" xmlns:dc="{DC}" {attributes}>{inside}'
        "</rdf:Description>"
    )


def keywords(kind: str, *words: str) -> str:
    items = "".join(f"<rdf:li>{word}</rdf:li>" for word in words)
    return f"<dc:subject><rdf:{kind}>{items}</rdf:{kind}></dc:subject>"


def without_ours(data: bytes) -> str:
    """Give what is left of a sidecar when rating and our keyword are taken out."""
    root: Any = etree.fromstring(data)
    for one in root.iter(f"{{{RDF}}}Description"):
        one.attrib.pop(RATING, None)
        for rating in list(one.iterchildren(RATING)):
            one.remove(rating)
        for subject in list(one.iterchildren(SUBJECT)):
            for li in list(subject.iter(f"{{{RDF}}}li")):
                if (li.text or "").strip().casefold() == "maybe":
                    li.getparent().remove(li)
            if not any(True for _ in subject.iter(f"{{{RDF}}}li")):
                one.remove(subject)
    for element in root.iter():
        element.text = (element.text or "").strip()
        element.tail = (element.tail or "").strip()
    return str(etree.tostring(root, method="c14n", exclusive=True).decode())


@pytest.mark.parametrize("first", VERDICTS)
@pytest.mark.parametrize("second", VERDICTS)
def test_what_is_written_is_read(first: Found, second: Found) -> None:
    data = with_verdict(with_verdict(None, first), second)
    assert verdict_in(data) == second
    assert data.count(b"Rating") <= 1


@pytest.mark.parametrize(
    ("inside", "verdict"),
    [
        (description('xmp:Rating="4"'), "keep"),
        (description('xmp:Rating="-1"'), "drop"),
        (description('xmp:Rating="0"'), "undecided"),
        (description(), "undecided"),
        (description(inside="<xmp:Rating>3</xmp:Rating>"), "keep"),
        (description(inside="<xmp:Rating> 2.0 </xmp:Rating>"), "keep"),
        (
            description(
                inside='<xmp:Rating rdf:parseType="Resource"><rdf:value>-1</rdf:value></xmp:Rating>'
            ),
            "drop",
        ),
        (description('xmp:Rating="0"', keywords("Bag", "wasp", "maybe")), "maybe"),
        (description(inside=keywords("Seq", "Maybe")), "maybe"),
        (description('dc:subject="maybe"'), "maybe"),
        (description('xmp:Rating="5"', keywords("Bag", "maybe")), "keep"),
        (description() + description('xmp:Rating="1"'), "keep"),
    ],
)
def test_every_way_to_write_a_verdict_is_read(inside: str, verdict: Found) -> None:
    assert verdict_in(packet(inside)) == verdict


def test_rating_under_another_prefix_is_the_rating() -> None:
    data = packet(f'<rdf:Description xmlns:xap="{XMP}" xap:Rating="2"/>')
    assert verdict_in(data) == "keep"
    changed = with_verdict(data, "drop")
    assert b'xap:Rating="-1"' in changed
    assert b"xmp:" not in changed


def test_four_stars_stay_four_stars_when_they_say_keep() -> None:
    data = packet(description('xmp:Rating="4"', keywords("Seq", "wasp")))
    assert with_verdict(data, "keep") is data


def test_a_rating_is_written_once_where_two_stood() -> None:
    data = packet(description('xmp:Rating="1"') + description(inside="<xmp:Rating>5</xmp:Rating>"))
    changed = with_verdict(data, "drop")
    assert changed.count(b"Rating") == 1
    assert verdict_in(changed) == "drop"


def test_our_keyword_joins_those_that_are_there_and_leaves_alone() -> None:
    data = packet(description('xmp:Rating="0"', keywords("Seq", "wasp", "hedge")))
    marked = with_verdict(data, "maybe")
    assert marked.count(b"rdf:Seq>") == 2
    assert b"<rdf:li>hedge</rdf:li><rdf:li>maybe</rdf:li>" in marked
    unmarked = etree.canonicalize(with_verdict(marked, "undecided").decode())
    assert unmarked == etree.canonicalize(data.decode())


def test_a_keyword_outside_a_list_is_kept_when_ours_joins() -> None:
    marked = with_verdict(packet(description('dc:subject="wasp"')), "maybe")
    root: Any = etree.fromstring(marked)
    assert [li.text for li in root.iter(f"{{{RDF}}}li")] == ["wasp", "maybe"]


def test_new_keywords_are_a_bag() -> None:
    assert b"<dc:subject><rdf:Bag><rdf:li>maybe" in with_verdict(None, "maybe")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-be-bom", "latin-1"])
def test_the_wrapping_and_the_way_of_writing_stay(encoding: str) -> None:
    head = '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\r\n<!-- </x:xmpmeta> -->\r\n'
    tail = "\r\n<!-- </x:xmpmeta> -->" + " " * 50 + "\r\n" + '<?xpacket end="w"?>'
    body = packet(description(inside="\r\n<dc:rights>Gr\u00fcn</dc:rights>\r\n")).decode()
    if encoding == "latin-1":
        head = '<?xml version="1.0" encoding="ISO-8859-1"?>\r\n'
    text = head + body + tail
    data = b"\xfe\xff" + text.encode("utf-16-be") if "be" in encoding else text.encode(encoding)
    changed = with_verdict(data, "drop")
    assert verdict_in(changed) == "drop"
    codec = "utf-16" if "be" in encoding else encoding
    new = changed.decode(codec)
    assert changed[:2] == data[:2]
    assert new.startswith(head)
    assert new.endswith(tail)
    assert "Gr\u00fcn" in new
    assert new.count("\r\n") == new.count("\n")
    assert without_ours(changed) == without_ours(data)


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "empty"),
        (b"\0" * 50, "empty"),
        (b"<x", "broken"),
        (b"not xml at all", "broken"),
        (b"\xff\xfe\x00", "no text"),
        (b"<a/>", "no sidecar"),
        (packet(description('xmp:Rating="many"')), "no number"),
        (packet(description('xmp:Rating="nan"')), "no number"),
        (b'<?xml version="1.0" encoding="no-such"?><a/>', "no text"),
        (b"<!DOCTYPE a [<!ENTITY e SYSTEM 'file:///etc/passwd'>]><a>&e;</a>", "entities"),
        (b"<?x?><!-- y -->\n<!DOCTYPE a><a/>", "entities"),
    ],
)
def test_what_is_no_sidecar_is_refused_in_words(data: bytes, word: str) -> None:
    with pytest.raises(FrameError, match=word):
        verdict_in(data)
    with pytest.raises(FrameError, match=word):
        with_verdict(data, "keep")


def test_a_bomb_of_entities_is_not_opened() -> None:
    names = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, 10))
    bomb = f'<!DOCTYPE r [<!ENTITY e0 "boom">{names}]>'.encode()
    with pytest.raises(FrameError, match="not opened"):
        verdict_in(bomb + packet(description(inside="<dc:rights>&e9;</dc:rights>")))


def test_a_huge_file_is_refused() -> None:
    with pytest.raises(FrameError, match="16 MiB"):
        verdict_in(b" " * LIMITS.sidecar_bytes + b"<a/>")


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_a_damaged_file_is_refused_or_read_and_never_breaks_us(data: st.DataObject) -> None:
    good = bytearray(
        with_verdict(packet(description('xmp:Rating="2"', keywords("Bag", "a"))), "maybe")
    )
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(good) - 1))
        good[at] = data.draw(st.integers(0, 255))
    hurt = (
        bytes(good[: data.draw(st.integers(0, len(good)))])
        if data.draw(st.booleans())
        else bytes(good)
    )
    try:
        verdict_in(hurt)
        assert verdict_in(with_verdict(hurt, "drop")) == "drop"
    except FrameError:
        pass


WORDS = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), max_size=12).filter(
    lambda word: not any(c in word for c in "\ufffe\uffff")
)
PREFIXES = st.sampled_from(["crs", "lr", "photo", "MicroNote", "xmp2"])


@st.composite
def foreign(draw: st.DrawFn) -> bytes:
    """Make a sidecar of some other program."""
    nsmap = {"rdf": RDF}
    known = draw(st.sampled_from([None, "xmp", "xap"]))
    root: Any = etree.Element("{adobe:ns:meta/}xmpmeta", nsmap={"x": "adobe:ns:meta/"})
    rdf = etree.SubElement(root, f"{{{RDF}}}RDF", nsmap=nsmap)
    rated = draw(st.sampled_from([None, "attribute", "element"]))
    for number in range(draw(st.integers(0, 3))):
        spaces = draw(st.lists(PREFIXES, unique=True, max_size=3))
        words: dict[str, str] = {prefix: f"http://example.org/{prefix}/" for prefix in spaces}
        if known:
            words[known] = XMP
        one = etree.SubElement(rdf, f"{{{RDF}}}Description", nsmap=words)
        one.set(f"{{{RDF}}}about", "")
        for prefix in spaces:
            one.set(f"{{http://example.org/{prefix}/}}Note", draw(WORDS))
            inner = etree.SubElement(one, f"{{http://example.org/{prefix}/}}Deep")
            inner.text = draw(WORDS)
            inner.tail = draw(st.sampled_from([None, "\n   ", " "]))
        if number == 0 and rated == "attribute":
            one.set(RATING, draw(st.sampled_from(["-1", "0", "3"])))
        if number == 0 and rated == "element":
            etree.SubElement(one, RATING).text = draw(st.sampled_from(["-1", "0", "3"]))
        listed = draw(st.lists(WORDS.filter(bool), max_size=3))
        if listed and number == 0:
            subject = etree.SubElement(one, SUBJECT, nsmap={"dc": DC})
            kind = draw(st.sampled_from(["Bag", "Seq"]))
            bag = etree.SubElement(subject, f"{{{RDF}}}{kind}")
            for word in listed:
                etree.SubElement(bag, f"{{{RDF}}}li").text = word
    made: bytes = etree.tostring(root, encoding="utf-8")
    return made


@settings(max_examples=300, deadline=None)
@given(foreign(), st.lists(st.sampled_from(VERDICTS), min_size=1, max_size=4))
def test_whatever_others_wrote_is_kept(data: bytes, verdicts: list[Found]) -> None:
    before = without_ours(data)
    spaces = set(prefixes(data))
    for verdict in verdicts:
        data = with_verdict(data, verdict)
        assert verdict_in(data) == verdict
    after = without_ours(data)
    if b"Description" in data and "Description" not in before:
        assert etree.fromstring(after.encode())[0][0].attrib == {f"{{{RDF}}}about": ""}
    else:
        assert after == before
    assert spaces <= set(prefixes(data))


def prefixes(data: bytes) -> Iterator[tuple[str | None, str]]:
    root: Any = etree.fromstring(data)
    for element in root.iter():
        yield from element.nsmap.items()
