"""How the page looks: a field notebook's calm, by day and by night, wide, narrow and on paper."""

from __future__ import annotations

from html import escape

from haltere.show.colours import DAY, NIGHT, Theme


def css() -> str:
    """Write the page's style sheet."""
    night = f"@media (prefers-color-scheme:dark){{:root{{{_inks(NIGHT)}}}}}"
    paper = f"@media print{{:root{{{_inks(DAY)}}}}}"
    return f":root{{{_inks(DAY)};color-scheme:light dark}}{night}{paper}{_RULES}"


def opened(title: str, own: str = "", alone: bool = False) -> str:
    """Open a page that needs nothing but itself, up to its header.

    Parameters
    ----------
    title : str
        What the window is called, as plain text.
    own : str
        Rules of this page beside the common ones.
    alone : bool
        Whether it shows one run's picture, not a page of many parts.

    Returns
    -------
    str
        From the document's first line to the start of `<header>`.
    """
    body = '<body class="alone">' if alone else "<body>"
    return "\n".join(
        (
            "<!doctype html>",
            '<html lang="en"><head><meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width,initial-scale=1">',
            f"<title>{escape(title)}</title>",
            f"<style>{css()}{own}</style></head>{body}<main><header>",
        )
    )


def _inks(theme: Theme) -> str:
    return ";".join(f"--{name}:{colour}" for name, colour in theme.items())


_RULES = """
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%}
body{margin:0;background:var(--paper);color:var(--ink);
 font:17px/1.5 "Iowan Old Style","Palatino Linotype",Palatino,"URW Palladio L",P052,Georgia,serif;
 font-variant-numeric:lining-nums}
main{max-width:1088px;margin:0 auto;padding:40px 24px 64px}
svg text{font-family:"Avenir Next","Segoe UI","Helvetica Neue",Helvetica,Arial,sans-serif;
 font-variant-numeric:tabular-nums}
svg{display:block;width:100%;height:auto;overflow:visible}
h1{font-size:44px;line-height:1.1;font-weight:500;margin:0 0 6px;letter-spacing:-.01em;
 overflow-wrap:anywhere}
h2{font-size:27px;line-height:1.2;font-weight:500;margin:0}
h3{font:600 14px/1.4 "Avenir Next","Segoe UI","Helvetica Neue",Helvetica,Arial,sans-serif;
 margin:24px 0 8px;color:var(--soft)}
p{margin:0 0 8px;max-width:64ch}
a{color:var(--accent);text-underline-offset:3px}
a:focus-visible{outline:2px solid var(--accent);outline-offset:3px}
.lead{font-size:21px;line-height:1.4;max-width:46ch;margin:14px 0 36px}
.small,figcaption,td,th,li.small{font:14px/1.45 "Avenir Next","Segoe UI","Helvetica Neue",
 Helvetica,Arial,sans-serif}
.soft{color:var(--soft)}
.good{color:var(--accent);font-weight:600}
.bad{color:var(--warn);font-weight:600}
section{border-top:1px solid var(--line);padding:28px 0 36px}
.head{display:grid;grid-template-columns:56px 1fr;column-gap:8px;align-items:baseline}
.number{font-size:27px;color:var(--soft);font-variant-numeric:lining-nums tabular-nums}
.head .small{margin:4px 0 0}
.said{font-size:19px;margin:14px 0 18px 64px}
.pair .signs,.pair p.small{margin-left:64px}
.pair{display:grid;grid-template-columns:minmax(0,1fr) 300px;gap:36px;align-items:start}
.mapped .pair{grid-template-columns:minmax(0,1fr) 300px 300px;gap:24px}
figure{margin:0}
figure img{display:block;width:100%;height:auto;background:var(--card)}
figcaption{margin-top:6px;overflow-wrap:anywhere}
.spot{position:relative;display:block}
.spot svg{position:absolute;inset:0;height:100%}
.hung{display:grid;grid-template-columns:repeat(var(--n),20%);justify-content:center}
.hung figure{padding:0 5px}
.one img,.hung img,.single .crop img{object-fit:none;width:100%;aspect-ratio:1}
.hung figure.best img{outline:3px solid var(--accent);outline-offset:2px}
.hung figure.soft-best img{outline:2px solid var(--soft)}
.rank{font-weight:600}
.you{font-weight:600}.you::before{content:"\\25c6\\00a0"}
td.you:empty::before{content:""}
.looks{display:grid;grid-template-columns:repeat(auto-fit,minmax(280px,1fr));gap:24px;
 margin-bottom:20px}
.alone .said{margin-left:0}.alone h1{font-size:32px}
ol.eyes{list-style:none;margin:12px 0 0;padding:0;display:flex;flex-wrap:wrap;gap:18px 14px}
.eyes .kind{width:112px}
.eyes.large .kind:not(.held){width:208px}
.eyes img{width:100%;aspect-ratio:1;object-fit:none}
.eyes .kept>img{outline:2px solid var(--accent);outline-offset:1px}
.eyes .held{width:auto;max-width:100%;display:grid;grid-template:auto 1fr/112px auto;gap:0 10px;
 padding-right:12px;border-right:1px solid var(--line)}
.eyes.large .held{grid-template-columns:208px auto}
.eyes .held>figure{grid-row:1/3}
.eyes .held>p{margin:0 0 6px 10px;grid-column:2}
.tucked{display:flex;flex-wrap:wrap;gap:10px;padding-left:10px;border-left:1px solid var(--line);
 grid-column:2;align-self:start}
.tucked figure{width:104px}
table.all td,table.all th{overflow-wrap:break-word;padding-right:12px}
.pair figcaption .signs{margin:4px 0 0}
.blank{display:grid;place-content:center;aspect-ratio:1;background:var(--card);text-align:center}
.wide{display:block}.slim{display:none}
table{border-collapse:collapse;width:100%;margin-top:8px}
td,th{text-align:left;padding:5px 14px 5px 0;border-bottom:1px solid var(--line);
 vertical-align:baseline;overflow-wrap:anywhere}
th{font-weight:600;color:var(--soft)}
td.n,th.n{text-align:right;font-variant-numeric:tabular-nums;white-space:nowrap}
.sweep{display:grid;grid-template-columns:340px minmax(0,1fr);gap:40px;align-items:start}
.sweep .map{display:grid;grid-template-columns:minmax(0,1fr) 200px;gap:20px;margin-top:20px;
 align-items:end}
.legend{height:12px;margin:0 0 4px;border:1px solid var(--line);print-color-adjust:exact;
 -webkit-print-color-adjust:exact}
.ends{display:flex;justify-content:space-between}
ol.spots{margin:10px 0 0;padding:0 0 0 22px}
ul.plain{list-style:none;margin:8px 0 0;padding:0}
ul.plain li{padding:4px 0;border-bottom:1px solid var(--line);overflow-wrap:anywhere}
summary{cursor:pointer}
.single{display:grid;grid-template-columns:minmax(0,1fr) 208px 277px;gap:24px;
 align-items:start}
.signs{display:flex;flex-wrap:wrap;gap:4px 22px;margin:0 0 6px;padding:0;list-style:none}
.signs svg{display:inline-block;width:14px;height:14px;vertical-align:-2px;margin-right:6px}
footer{border-top:1px solid var(--line);padding-top:20px}
footer p{max-width:76ch}
@media (min-width:821px){
 .burst .head{margin-right:340px}.mapped .head{margin-right:650px}
 .single-run .head{margin-right:530px}
 .pair>figure,.single>figure{margin-top:-60px}
}
@media (max-width:820px){
 .sweep{grid-template-columns:minmax(0,1fr)}
 .sweep>.deep{max-width:420px}
 .sweep .map{grid-template-columns:minmax(0,1fr)}
 .pair{grid-template-columns:minmax(0,1fr)}
 .pair>:last-child{max-width:420px}
 .mapped .pair{grid-template-columns:1fr 1fr}
 .mapped .pair>:first-child{grid-column:1/-1}
 .single{grid-template-columns:208px minmax(0,1fr)}
 .single>:first-child{grid-column:1/-1}
}
@media (max-width:640px){
 main{padding:24px 16px 48px}
 h1{font-size:32px}h2,.number{font-size:22px}
 .lead{font-size:18px;margin-bottom:24px}
 .head{grid-template-columns:38px 1fr}
 .said{margin-left:0;font-size:18px}
 .pair .signs,.pair p.small{margin-left:0}
 .wide{display:none}.slim{display:block}
 .hung{grid-template-columns:1fr 1fr;gap:14px 10px;justify-content:stretch;margin-top:14px}
 .hung figure{order:var(--rank);padding:0}
 .single{grid-template-columns:1fr 1fr;gap:12px}
 td.opt,th.opt{display:none}
 .mapped .pair{grid-template-columns:minmax(0,1fr)}
 .eyes.large .held{display:block;border:0;padding:0}
 .eyes.large .held>figure{max-width:208px}.eyes.large .held>p{margin:10px 0 6px}
 .eyes.large .kind:not(.held){width:calc(50% - 7px)}
}
@media print{
 main{max-width:none;padding:0}
 body{font-size:12pt}
 section{break-inside:auto}
 figure,.sweep>.deep,svg{break-inside:avoid}
 details>*{display:block}
}
""".replace("\n", "")
