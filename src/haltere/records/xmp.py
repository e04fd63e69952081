"""What a sidecar says of its frame, and the same sidecar saying something else.

The words of XMP (ISO 16684-1, from memory): a property of the picture is an attribute or an
element of an rdf:Description; xmp:Rating is -1 for rejected, 0 for not rated, 1 to 5 for stars;
dc:subject is an unordered list of keywords. Drop is -1, undecided 0, keep 1, and maybe is 0 with
the keyword "maybe". Two properties are written, all others are left as they are.
"""

from __future__ import annotations

import codecs
import math
import re
from typing import Any

from lxml import etree

from haltere.errors import FrameError
from haltere.fieldbook.searching import Found
from haltere.records.limits import LIMITS

RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
XMP = "http://ns.adobe.com/xap/1.0/"
DC = "http://purl.org/dc/elements/1.1/"
MAYBE = "maybe"

_RATING = f"{{{XMP}}}Rating"
_SUBJECT = f"{{{DC}}}subject"
_DESCRIPTION = f"{{{RDF}}}Description"
_LI = f"{{{RDF}}}li"
_VALUE = f"{{{RDF}}}value"
_LISTS = {f"{{{RDF}}}{kind}" for kind in ("Bag", "Seq", "Alt")}
_RATINGS: dict[Found, str] = {"keep": "1", "maybe": "0", "drop": "-1", "undecided": "0"}

_NEW = f"""<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
 <rdf:RDF xmlns:rdf="{RDF}">
  <rdf:Description rdf:about="" xmlns:xmp="{XMP}" xmlns:dc="{DC}">
  </rdf:Description>
 </rdf:RDF>
</x:xmpmeta>
<?xpacket end="w"?>
"""

# 32 bits first: the mark of UTF-32 begins like that of UTF-16
_MARKS = (
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_DECLARED = re.compile(rb"""\s*<\?xml[^>]{0,200}?encoding\s*=\s*["']([A-Za-z0-9._-]{1,40})["']""")
# what may stand around the root: white space, instructions, comments; never taken two ways
_AROUND = re.compile(r"\ufeff?(?>\s+|<\?(?>.*?\?>)|<!--(?>.*?-->))*+", re.DOTALL)

Element = Any  # lxml brings no types


def verdict_in(data: bytes) -> Found:
    """Answer what a sidecar says of its frame.

    Parameters
    ----------
    data : bytes
        The file.

    Returns
    -------
    {"keep", "maybe", "drop", "undecided"}
        Stars are 'keep', rejected is 'drop'; without either the keyword "maybe" decides.

    Raises
    ------
    FrameError
        When it is no sidecar, broken, or not to be trusted; the message leaves out the name.
    """
    return _said(_properties(_parsed(data)[1]))


def with_verdict(data: bytes | None, verdict: Found) -> bytes:
    """Give the sidecar that says what was decided.

    Parameters
    ----------
    data : bytes or None
        The file as it is; None when there is none yet.
    verdict : {"keep", "maybe", "drop", "undecided"}
        What was decided.

    Returns
    -------
    bytes
        The same bytes when they say so already (four stars stay four stars); else the same
        file with rating and keyword changed, and everything else kept.

    Raises
    ------
    FrameError
        When the file can't be read as a sidecar; the message leaves out the name.
    """
    text, root, encoding = _parsed(_NEW.encode() if data is None else data)
    rdf = _properties(root)
    if data is not None and _said(rdf) == verdict:
        return data
    _rate(rdf, _RATINGS[verdict])
    _mark(rdf, wanted=verdict == MAYBE)
    before, body, after = _cut(text, root)
    new = str(etree.tostring(root, encoding="unicode", with_tail=False))
    if "\r\n" in body:  # reading made one sign of the two
        new = new.replace("\n", "\r\n")
    changed = (before + new + after).encode(encoding, "xmlcharrefreplace")
    if verdict_in(changed) != verdict:  # a file built in a way that nobody foresaw
        raise FrameError("is built in a way that can't be changed safely; rate it there instead")
    return changed


def _parsed(data: bytes) -> tuple[str, Element, str]:
    """Read the file twice: as text, whose edges are kept, and as a tree."""
    if not data.strip(b"\0 \t\r\n"):
        raise FrameError("is empty; delete it, and it is written anew")
    if len(data) > LIMITS.sidecar_bytes:
        raise FrameError(
            f"is larger than {LIMITS.sidecar_bytes >> 20} MiB, which no sidecar is; move it away"
        )
    encoding = _encoding(data)
    try:
        text = data.decode(encoding)
    except (UnicodeError, LookupError):
        raise FrameError(
            "holds signs that are no text; have the program that wrote it write it again"
        ) from None
    around = _AROUND.match(text)
    start = 0 if around is None else around.end()
    if text[start : start + 9].upper() == "<!DOCTYPE":
        raise _not_trusted()
    parser = etree.XMLParser(
        resolve_entities=False,
        no_network=True,
        huge_tree=False,
        load_dtd=False,
        strip_cdata=False,
    )
    try:
        root = etree.fromstring(data, parser)
    except (etree.XMLSyntaxError, ValueError) as error:
        raise FrameError(
            f"is broken ({_short(error)}); have the program that wrote it write it again, or "
            "move it away"
        ) from error
    if root.getroottree().docinfo.internalDTD is not None:
        raise _not_trusted()
    return text, root, encoding


def _not_trusted() -> FrameError:
    return FrameError(
        "declares entities, which no honest sidecar does and which can fill the memory; it was "
        "not opened: move it away"
    )


def _short(error: Exception) -> str:
    return str(error).split(", line")[0][:120]


def _encoding(data: bytes) -> str:
    for mark, name in _MARKS:
        if data.startswith(mark):
            return name
    declared = _DECLARED.match(data[:400])
    return declared[1].decode("ascii") if declared else "utf-8"


def _cut(text: str, root: Element) -> tuple[str, str, str]:
    """Part the text before, inside and behind the root element; the edges stay as they are."""
    around = _AROUND.match(text)
    start = 0 if around is None else around.end()
    name = root.tag.rpartition("}")[2]
    closing = "</" + (name if root.prefix is None else f"{root.prefix}:{name}")
    at = len(text)
    while (at := text.rfind(closing, start, at)) >= 0:
        end = text.find(">", at) + 1
        if end > 0 and _AROUND.fullmatch(text, end):
            return text[:start], text[start:end], text[end:]
    end = text.rfind("/>") + 2  # a root without content; comments behind it are not looked into
    return text[:start], text[start:end], text[end:]


def _properties(root: Element) -> Element:
    for element in root.iter(f"{{{RDF}}}RDF"):
        return element
    raise FrameError("is no sidecar of a picture (it holds no RDF); move it away")


def _descriptions(rdf: Element) -> list[Element]:
    return list(rdf.iterchildren(_DESCRIPTION))


def _said(rdf: Element) -> Found:
    rating = 0.0
    for one in _descriptions(rdf):
        written = [one.get(_RATING), *(_value(e) for e in one.iterchildren(_RATING))]
        for word in written:
            if word is not None and word.strip():
                rating = _number(word)
                break
        else:
            continue
        break
    if rating < 0:
        return "drop"
    if rating > 0:
        return "keep"
    keywords = {word.strip().casefold() for one in _descriptions(rdf) for word in _keywords(one)}
    return "maybe" if MAYBE in keywords else "undecided"


def _number(word: str) -> float:
    try:
        rating = float(word)
    except ValueError:
        rating = math.nan
    if not math.isfinite(rating):
        raise FrameError(f"has the rating {word.strip()[:20]!r}, which is no number; rate it again")
    return rating


def _value(element: Element) -> str:
    """Give a simple value; with qualifiers it stands in an rdf:value."""
    holder = _holder(element)
    attribute = element.get(_VALUE)
    if holder is element and attribute is not None:
        return str(attribute)
    return "".join(holder.itertext()) if len(holder) else (holder.text or "")


def _holder(element: Element) -> Element:
    for inner in element.iter(_VALUE):
        return inner
    return element


def _keywords(description: Element) -> list[str]:
    found = []
    alone = description.get(_SUBJECT)
    if alone is not None:
        found.append(str(alone))
    for subject in description.iterchildren(_SUBJECT):
        lists = [inner for inner in subject if inner.tag in _LISTS]
        if lists:
            found += [_value(li) for one in lists for li in one.iterchildren(_LI)]
        else:
            found.append(_value(subject))
    return found


def _rate(rdf: Element, rating: str) -> None:
    """Set the rating where it stands, once; add it where it is missing."""
    done = False
    for one in _descriptions(rdf):
        if one.get(_RATING) is not None:
            if done:
                del one.attrib[_RATING]
            else:
                one.set(_RATING, rating)
            done = True
        for element in list(one.iterchildren(_RATING)):
            if done:
                _take_out(element)
                continue
            holder = _holder(element)
            if holder is element and element.get(_VALUE) is not None:
                element.set(_VALUE, rating)
            else:
                for inner in list(holder):
                    holder.remove(inner)
                holder.text = rating
            done = True
    if done:
        return
    home = _home(rdf, XMP)
    if XMP in {uri for prefix, uri in home.nsmap.items() if prefix}:
        home.set(_RATING, rating)
    else:
        _put_in(home, etree.Element(_RATING, nsmap={"xmp": XMP})).text = rating


def _mark(rdf: Element, *, wanted: bool) -> None:
    """Add or strike out the keyword."""
    marked = False
    for one in _descriptions(rdf):
        if any(word.strip().casefold() == MAYBE for word in _keywords(one)):
            marked = True
            if not wanted:
                _unmark(one)
    if wanted and not marked:
        _add_keyword(rdf)


def _unmark(description: Element) -> None:
    if (description.get(_SUBJECT) or "").strip().casefold() == MAYBE:
        del description.attrib[_SUBJECT]
    for subject in list(description.iterchildren(_SUBJECT)):
        lists = [inner for inner in subject if inner.tag in _LISTS]
        if not lists and _value(subject).strip().casefold() == MAYBE:
            _take_out(subject)
        for one in lists:
            ours = [li for li in one.iterchildren(_LI) if _value(li).strip().casefold() == MAYBE]
            for li in ours:
                _take_out(li)
            if ours and not len(one):
                _take_out(subject)
                break


def _add_keyword(rdf: Element) -> None:
    for description in _descriptions(rdf):
        for subject in description.iterchildren(_SUBJECT):
            lists = [inner for inner in subject if inner.tag in _LISTS]
            if lists:
                _put_in(lists[0], etree.Element(_LI)).text = MAYBE
                return
    home = _home(rdf, DC)
    alone = [word for one in _descriptions(rdf) for word in _loose(one)]
    subject = _put_in(home, etree.Element(_SUBJECT, nsmap={"dc": DC}))
    bag = etree.SubElement(subject, f"{{{RDF}}}Bag", nsmap={"rdf": RDF})
    for word in (*alone, MAYBE):
        etree.SubElement(bag, _LI).text = word


def _loose(description: Element) -> list[str]:
    """Take out keywords that stand outside a list, to put them into one."""
    found = _keywords(description)
    if description.get(_SUBJECT) is not None:
        del description.attrib[_SUBJECT]
    for subject in list(description.iterchildren(_SUBJECT)):
        _take_out(subject)
    return [word for word in found if word.strip()]


def _home(rdf: Element, space: str) -> Element:
    """Give the description that a new property goes into; one that knows its words, if any."""
    everything = _descriptions(rdf)
    for one in everything:
        if space in one.nsmap.values():
            return one
    if everything:
        return everything[0]
    return _put_in(
        rdf,
        etree.Element(_DESCRIPTION, {f"{{{RDF}}}about": ""}, nsmap={"xmp": XMP, "dc": DC}),
    )


def _put_in(parent: Element, child: Element) -> Element:
    """Append an element on a line like its neighbours'."""
    if len(parent):
        last = parent[-1]
        child.tail = last.tail
        if parent.text is not None and not parent.text.strip():
            last.tail = (last.tail or "").rstrip() + parent.text
    elif parent.text is not None and not parent.text.strip():
        child.tail = parent.text
    parent.append(child)
    return child


def _take_out(element: Element) -> None:
    """Remove an element and keep the text behind it, if it is more than white space."""
    parent, before, tail = element.getparent(), element.getprevious(), element.tail
    if before is None and element.getnext() is None and not (tail or "").strip():
        parent.text = tail if (parent.text is None or not parent.text.strip()) else parent.text
    elif element.getnext() is None and before is not None and not (before.tail or "").strip():
        before.tail = tail  # the line of the closing tag
    elif (tail or "").strip():
        if before is not None:
            before.tail = (before.tail or "") + tail
        else:
            parent.text = (parent.text or "") + tail
    parent.remove(element)
