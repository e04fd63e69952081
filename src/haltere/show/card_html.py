"""The field card as one HTML file: large numbers for a phone in the sun, and A6 on paper."""

from __future__ import annotations

from html import escape

from haltere.show.card import ROWS, Card, Column, Part
from haltere.show.card_page import card_page
from haltere.show.card_pdf import PRINT
from haltere.show.card_words import CAUTIONS, ratio
from haltere.show.svg import svg

_PARTS: tuple[tuple[Part, str], ...] = (("shot", "One shot"), ("sweep", "Sweep"))


def card_html(card: Card) -> str:
    """Write the card as a page.

    Parameters
    ----------
    card : Card
        What it says.

    Returns
    -------
    str
        An HTML document without scripts and without anything from outside.
    """
    name = escape(card.name)
    return "\n".join(
        [
            '<!doctype html><html lang="en"><head><meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width,initial-scale=1">',
            f"<title>Field card: {name}</title><style>{_css()}</style></head><body>",
            f'<div class="paper" aria-hidden="true">{svg(card_page(card))}</div>',
            f"<main><header><h1>{name}</h1>",
            f"<p>{''.join(f'<span>{escape(one)}</span>' for one in card.settings)}</p></header>",
            _jumps(card),
            '<div class="columns">',
            *(_column(card, column) for column in card.columns),
            "</div>",
            _notes(card),
            _cautions(),
            "</main></body></html>\n",
        ]
    )


def _id(column: Column) -> str:
    return f"m{column.magnification:g}".replace(".", "-")


def _jumps(card: Card) -> str:
    links = (
        f'<a href="#{_id(column)}"{"" if column.cells else " class=off"}>'
        f"{column.magnification:g}</a>"
        for column in card.columns
    )
    return f'<nav aria-label="Magnifications">{"".join(links)}</nav>'


def _column(card: Card, column: Column) -> str:
    head = f"<h2>{ratio(column.magnification).replace(':', '<i>:</i>')}</h2>"
    if not column.cells:
        return (
            f'<section id="{_id(column)}" class="off"><div class="head">{head}'
            f"<p>out of reach</p></div><p>{escape(column.reason)}</p></section>"
        )
    frame = (
        f"<p>{escape(card.labels[number])} <b>{escape(cell.text)}</b> {row.unit}</p>"
        for number, (row, cell) in enumerate(zip(ROWS, column.cells, strict=True))
        if row.part == "frame"
    )
    parts = "".join(_part(card, column, part) for part, _ in _PARTS)
    return (
        f'<section id="{_id(column)}"><div class="head">{head}<div>{"".join(frame)}</div></div>'
        f'<div class="parts">{parts}</div>{_whys(card, column)}</section>'
    )


def _part(card: Card, column: Column, part: Part) -> str:
    rows = []
    for row, label, cell in zip(ROWS, card.labels, column.cells, strict=True):
        if row.part != part:
            continue
        if row.unit == "f/":
            rows.append(f"<h3>{escape(label)}</h3><p class=f><i>f/</i>{escape(cell.text)}</p><dl>")
            continue
        unit = f" <i>{escape(row.unit)}</i>" if row.unit else ""
        rows.append(f"<div><dt>{escape(label)}</dt><dd>{escape(cell.text)}{unit}</dd></div>")
    return f"<div>{''.join(rows)}</dl></div>"


def _whys(card: Card, column: Column) -> str:
    """Fold away how each number came about."""
    said = []
    told = set()  # sun and shade share one explanation
    for row, label, why in zip(ROWS, card.labels, column.whys, strict=True):
        if (row.part, row.key) in told:
            continue
        told.add((row.part, row.key))
        where = "" if row.part == "frame" else f"{dict(_PARTS)[row.part]}: "
        name = "f-number" if row.unit == "f/" else label
        said.append(
            f"<li><b>{escape(where + name)}</b> {escape(why.title)}: {escape(why.formula)}."
            f"<br>{escape(why.filled)}</li>"
        )
    return f"<details><summary>Why these numbers</summary><ul>{''.join(said)}</ul></details>"


def _notes(card: Card) -> str:
    return f"<ul class=notes>{''.join(f'<li>{escape(note)}</li>' for note in card.notes)}</ul>"


def _cautions() -> str:
    said = "".join(f"<li><b>{escape(one.about)}</b> {escape(one.words)}</li>" for one in CAUTIONS)
    return f"<section class=cautions><h2>Before any picture</h2><ul>{said}</ul></section>"


def _css() -> str:
    inks = ";".join(f"--{ink}:{colour}" for ink, colour in PRINT.items())
    return _RULES.replace("\n", "").replace("INKS", inks)


_RULES = """
:root{--bg:#fff;--fg:#000;--rule:#767676;--off:#e6e6e6;--offfg:#3a3a3a;color-scheme:light dark}
@media (prefers-color-scheme:dark){:root{--bg:#000;--fg:#fff;--rule:#8c8c8c;--off:#262626;
--offfg:#c8c8c8}}
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%;scroll-padding-top:56px}
body{margin:0;background:var(--bg);color:var(--fg);
font:17px/1.35 "Helvetica Neue",Helvetica,Arial,"Liberation Sans",sans-serif;
font-variant-numeric:tabular-nums lining-nums}
.paper{display:none}
main{padding:14px 12px 40px;max-width:1640px;margin:0 auto}
h1{font-size:26px;line-height:1.15;margin:0 0 4px;overflow-wrap:anywhere}
header p{margin:0 0 8px;font-weight:600;display:flex;flex-wrap:wrap;gap:0 14px}
header span{white-space:nowrap}
i{font-style:normal}
nav{position:sticky;top:0;display:grid;grid-template-columns:repeat(5,1fr);gap:4px;
background:var(--bg);padding:4px 0;z-index:1}
nav a{display:block;text-align:center;font-size:22px;font-weight:700;line-height:44px;
color:var(--bg);background:var(--fg);text-decoration:none}
nav a.off{color:var(--offfg);background:var(--off);text-decoration:line-through}
nav a:focus-visible,summary:focus-visible{outline:3px solid var(--fg);outline-offset:2px}
.columns{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(100%,296px),1fr));
gap:0 16px;align-items:start}
section{border:2px solid var(--fg);margin-top:12px;display:flex;flex-direction:column}
.head{display:flex;align-items:center;justify-content:space-between;gap:10px;
background:var(--fg);color:var(--bg);padding:4px 10px}
.head h2{font-size:42px;line-height:1.1;margin:0;letter-spacing:-.02em}
.head p{margin:0;text-align:right;font-size:15px;white-space:nowrap}
.head b{font-size:19px}
.parts{display:grid;grid-template-columns:1fr 1fr;flex:1}
.parts>div{padding:6px 9px 4px}
.parts>div+div{border-left:2px solid var(--fg)}
h3{font-size:18px;margin:0}
.f{font-size:54px;line-height:1;font-weight:700;margin:0 0 4px;letter-spacing:-.03em}
.f i{font-size:30px}
dl{margin:0}
dl div{border-top:1px solid var(--rule);padding:3px 0 2px}
dt{font-size:15px;line-height:1.2}
dd{margin:0;font-size:25px;line-height:1.15;font-weight:700}
dd i{font-size:15px;font-weight:400}
details{border-top:2px solid var(--fg)}
summary{padding:10px;font-size:16px;cursor:pointer}
details ul{margin:0;padding:0 10px 8px;list-style:none;font-size:15px}
details li{border-top:1px solid var(--rule);padding:6px 0;overflow-wrap:anywhere}
section.off{background:var(--off);color:var(--offfg);border-color:var(--rule)}
section.off .head{background:none;color:inherit}
section.off>p{margin:0 10px 10px;font-size:18px}
.notes{margin:14px 0 0;padding:0;list-style:none;max-width:70ch}
.notes li{margin:0 0 6px}
.cautions{padding:8px 12px 4px}
.cautions h2{font-size:22px;margin:0 0 6px}
.cautions ul{margin:0;padding:0;list-style:none}
.cautions li{margin:0 0 8px;break-inside:avoid}
@media (min-width:900px){nav{display:none}.head{gap:6px}.head h2{font-size:32px}
.head p{font-size:14px}.head b{font-size:17px}.cautions ul{columns:3;column-gap:28px}}
@page{size:105mm 148mm;margin:0}
@media print{
:root{INKS;--bg:#fff;--fg:#000}
html,body{background:#fff}
main{display:none}
.paper{display:block;width:105mm;height:148mm;overflow:hidden}
.paper svg{display:block;width:105mm;height:148mm;print-color-adjust:exact;
-webkit-print-color-adjust:exact}
.paper text{font-family:Helvetica,Arial,"Liberation Sans",sans-serif}
.paper text[font-weight]{font-weight:700}
}
"""
