"""What a delivered picture says of itself: caption, maker, rights, and how it was made."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from datetime import datetime

from haltere.errors import UsageError
from haltere.finish.limits import DELIVERY

XMP_MARK = b"http://ns.adobe.com/xap/1.0/\0"
# codes of the IPTC's list of digital source types, as of 2024-09-17
_SOURCES = "http://cv.iptc.org/newscodes/digitalsourcetype/"
_MOST = {25: 64, 80: 32, 116: 128, 120: 2000, 40: 256}  # bytes that IPTC-IIM 4.2 allows


@dataclass(frozen=True, slots=True)
class Made:
    """How a picture came about, told in it without being asked.

    Attributes
    ----------
    frames : int
        How many photographs went in.
    restored_at : float or None
        Effective f-number whose diffraction was undone; None where nothing was restored.
    healed : int
        Dust spots that were filled from other frames.
    repaired : bool
        Whether places were taken from single frames by hand.
    """

    frames: int = 1
    restored_at: float | None = None
    healed: int = 0
    repaired: bool = False

    def disclosure(self) -> str:
        """Tell it in plain words.

        Returns
        -------
        str
            One or two sentences; empty for one photograph as it was taken.
        """
        said = []
        if self.frames > 1:
            said.append(
                f"Merged from {self.frames} photographs focused at different depths "
                "(focus stack, by depth); nothing in it was painted or generated."
            )
        if self.repaired:
            said.append("Some places were taken from single frames by hand.")
        if self.restored_at is not None:
            said.append(f"Sharpness lost to diffraction at f/{self.restored_at:.0f} was restored.")
        if self.healed:
            said.append(
                f"{_counted(self.healed, 'spot', 'spots')} of dust on the sensor "
                f"{'was' if self.healed == 1 else 'were'} filled from other frames."
            )
        return " ".join(said)

    @property
    def source_type(self) -> str:
        """Code of the IPTC for the way the picture came about."""
        if self.repaired:
            return _SOURCES + "compositeCapture"
        if self.frames > 1:
            return _SOURCES + "computationalCapture"
        changed = self.restored_at is not None or self.healed
        return _SOURCES + ("algorithmicallyEnhanced" if changed else "digitalCapture")


@dataclass(frozen=True, slots=True)
class Caption:
    """What the photographer says.

    Attributes
    ----------
    text, creator, rights : str
        Caption, maker, rights; empty where nothing is said.
    keywords : tuple of str
        In order.
    """

    text: str = ""
    creator: str = ""
    rights: str = ""
    keywords: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for words in (self.text, self.creator, self.rights, *self.keywords):
            if any(ord(letter) < 32 and letter not in "\n\t" for letter in words):
                raise UsageError("a caption holds plain letters; leave out control characters")
        said = "".join((self.text, self.creator, self.rights, *self.keywords)).encode()
        if len(said) > DELIVERY.most_words:
            raise UsageError(
                f"caption, maker, rights and keywords take {len(said)} letters together, and a "
                f"picture's fields hold {DELIVERY.most_words}; say it shorter"
            )

    def full_text(self, made: Made) -> str:
        """Put caption and disclosure together, as readers show them.

        Parameters
        ----------
        made : Made
            How the picture came about.

        Returns
        -------
        str
            Empty where there is nothing to say.
        """
        text, told = self.text.strip(), made.disclosure()
        if text and told and text[-1] not in ".!?…":
            text += "."
        return " ".join(part for part in (text, told) if part)


def xmp_packet(caption: Caption, made: Made, taken: datetime | None, software: str) -> bytes:
    """Write caption and disclosure as an XMP packet (ISO 16684-1; IPTC Core and Extension).

    Parameters
    ----------
    caption : Caption
        Words.
    made : Made
        How the picture came about.
    taken : datetime, optional
        When; an aware one keeps its offset.
    software : str
        What wrote it.

    Returns
    -------
    bytes
        UTF-8; only what is said here, nothing of the source's own packet.
    """
    from lxml import etree

    space = {
        "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
        "dc": "http://purl.org/dc/elements/1.1/",
        "xmp": "http://ns.adobe.com/xap/1.0/",
        "photoshop": "http://ns.adobe.com/photoshop/1.0/",
        "Iptc4xmpExt": "http://iptc.org/std/Iptc4xmpExt/2008-02-29/",
    }

    def name(prefix: str, word: str) -> str:
        return f"{{{space[prefix]}}}{word}"

    root = etree.Element("{adobe:ns:meta/}xmpmeta", nsmap={"x": "adobe:ns:meta/"})
    rdf = etree.SubElement(root, name("rdf", "RDF"), nsmap={"rdf": space["rdf"]})
    about = etree.SubElement(rdf, name("rdf", "Description"), nsmap=space)
    about.set(name("rdf", "about"), "")
    about.set(name("xmp", "CreatorTool"), software)
    about.set(name("Iptc4xmpExt", "DigitalSourceType"), made.source_type)
    if taken is not None:
        about.set(name("photoshop", "DateCreated"), taken.isoformat(timespec="seconds"))
    if made.disclosure():
        about.set(name("photoshop", "Instructions"), made.disclosure())

    def listed(word: str, kind: str, items: tuple[str, ...]) -> None:
        if not any(items):
            return
        inside = etree.SubElement(etree.SubElement(about, name("dc", word)), name("rdf", kind))
        for item in items:
            one = etree.SubElement(inside, name("rdf", "li"))
            one.text = item
            if kind == "Alt":
                one.set("{http://www.w3.org/XML/1998/namespace}lang", "x-default")

    listed("description", "Alt", (caption.full_text(made),))
    listed("creator", "Seq", (caption.creator,))
    listed("rights", "Alt", (caption.rights,))
    listed("subject", "Bag", caption.keywords)
    body: bytes = etree.tostring(root, encoding="utf-8", pretty_print=True)
    head = '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n'.encode()
    return head + body + b'<?xpacket end="r"?>'


def iptc_records(caption: Caption, made: Made, taken: datetime | None) -> bytes:
    """Write caption and disclosure as IPTC-IIM records, which older readers look for.

    Parameters
    ----------
    caption : Caption
        Words.
    made : Made
        How the picture came about.
    taken : datetime, optional
        When.

    Returns
    -------
    bytes
        UTF-8 records (IPTC-IIM 4.2), each cut to the length that the standard allows.
    """
    records = [(1, 90, b"\x1b%G"), (2, 0, b"\x00\x04")]
    records += [(2, 25, _cut(word, 25)) for word in caption.keywords]
    if made.disclosure():
        records.append((2, 40, _cut(made.disclosure(), 40)))
    if taken is not None:
        records.append((2, 55, taken.strftime("%Y%m%d").encode()))
    for number, words in ((80, caption.creator), (116, caption.rights)):
        if words:
            records.append((2, number, _cut(words, number)))
    if caption.full_text(made):
        records.append((2, 120, _cut(caption.full_text(made), 120)))
    return b"".join(struct.pack(">BBBH", 0x1C, a, b, len(data)) + data for a, b, data in records)


def photoshop_segment(records: bytes) -> bytes:
    """Wrap IPTC records as JPEG files carry them.

    Parameters
    ----------
    records : bytes
        From `iptc_records`.

    Returns
    -------
    bytes
        What stands in the APP13 segment.
    """
    resource = b"8BIM\x04\x04\0\0" + struct.pack(">I", len(records)) + records
    return b"Photoshop 3.0\0" + resource + bytes(len(records) % 2)


def _cut(words: str, number: int) -> bytes:
    """Cut to so many bytes without cutting a letter."""
    return words.encode("utf-8")[: _MOST[number]].decode("utf-8", "ignore").encode("utf-8")


def _counted(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
