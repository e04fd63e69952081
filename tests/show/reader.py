"""Reads a page as a browser would, and keeps what tests ask for."""

from __future__ import annotations

from html.parser import HTMLParser

VOID = {"meta", "img", "br", "link", "hr", "input"}
SVG_ALONE = {"line", "rect", "circle", "polygon", "path"}


class Reader(HTMLParser):
    """Reads a page and keeps what the tests ask for."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.images: list[dict[str, str | None]] = []
        self.urls: list[str] = []
        self.ids: list[str] = []
        self.text: list[str] = []
        self.tags: list[str] = []
        self.labels: list[str | None] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        have = dict(attrs)
        self.tags.append(tag)
        self.urls += [str(have[k]) for k in ("src", "href", "srcset", "data") if k in have]
        if "id" in have:
            self.ids.append(str(have["id"]))
        if tag == "img":
            self.images.append(have)
        if tag == "svg":
            self.labels.append(have.get("aria-label") or have.get("aria-hidden"))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        assert tag in SVG_ALONE | VOID

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    return reader
