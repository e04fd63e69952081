"""The sheet of an outing: one page that needs nothing but itself."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

from haltere.merge.merged import Merge
from haltere.show import words
from haltere.show.bursts import SLIM, WIDE, burst, said, section_class, signs_of, single
from haltere.show.colours import depth_shades
from haltere.show.ladder_time import time_ladder
from haltere.show.outing import Outing, WorkedRun
from haltere.show.pictures import Shading, data_uri
from haltere.show.plates import Plates, SweepPlates
from haltere.show.strip import strip
from haltere.show.style import opened
from haltere.show.svg import svg
from haltere.show.sweep_words import bars_said, signs
from haltere.show.table import table
from haltere.sweeps.coverage import Coverage

LADDER = 340.0
"""Width of a sweep's ladder, as much as the page's style leaves it."""


def page(outing: Outing, plates: Mapping[str, Plates]) -> str:
    """Write the sheet.

    Parameters
    ----------
    outing : Outing
        What is shown.
    plates : mapping of str to Plates
        The small pictures of each run, by the run's id.

    Returns
    -------
    str
        An HTML document without scripts and without anything from outside.
    """
    parts = [
        opened(f"{outing.name}: sheet of an outing"),
        f"<h1>{escape(outing.name)}</h1>",
        f'<p class="small soft">{escape(words.date_line(outing))}</p>',
        f'<p class="lead">{escape(words.summary(outing))}</p></header>',
    ]
    if outing.runs:
        parts.append('<nav aria-label="Runs in order of time">')
        parts.append(svg(strip(outing, WIDE), "wide") + svg(strip(outing, SLIM), "slim"))
        parts.append("</nav>")
        parts.append(table(outing))
    for worked in outing.runs:
        parts.append(_run(worked, outing, plates.get(worked.run.id, Plates())))
    parts.append(_skipped(outing))
    parts.append(_footer())
    parts.append("</main></body></html>\n")
    return "\n".join(part for part in parts if part)


def _run(worked: WorkedRun, outing: Outing, plates: Plates) -> str:
    run = worked.run
    title = words.run_title(run, outing)
    time = words.clock(outing.frames.get(run.frames[0]))
    span = run.frames[0] if len(run.frames) == 1 else f"{run.frames[0]} to {run.frames[-1]}"
    facts = ", ".join(part for part in (time, span) if part)
    place = section_class(worked.keepers, plates, single=run.kind == "single")
    head = (
        f'<section id="{escape(run.id)}"{place}><div class="head">'
        f'<span class="number">{escape(run.id.removeprefix("run-"))}</span>'
        f"<div><h2>{escape(title[0].upper() + title[1:])}</h2>"
        f'<p class="small soft">{escape(facts)}</p></div></div>'
    )
    body = ""
    if worked.failed is not None:
        body += said("Could not be worked to the end", worked.failed, False)
    if worked.keepers is not None:
        show = single if run.kind == "single" else burst
        body += show(worked.keepers, plates.seen, outing.decided)
    if worked.gaps is not None:
        body += _sweep(worked.gaps, worked.merge, plates.sweep)
    return f"{head}{body}</section>"


# ------------------------------------------------------------------ sweeps


def _sweep(coverage: Coverage, merge: Merge | None, plates: SweepPlates | None) -> str:
    html = said(words.coverage_head(coverage), coverage.reason, coverage.complete is True)
    deep = svg(time_ladder(coverage, LADDER), "ladder") + _ladder_words(coverage)
    html += f'<div class="sweep"><div class="deep">{deep}</div>'
    if merge is not None and plates is not None:
        html += f"<div>{_merged(merge, plates)}</div>"
    return html + "</div>"


def _ladder_words(coverage: Coverage) -> str:
    gaps = "".join(
        f'<li><span class="bad">{number}: {escape(words.gap(gap))}</span>, beside '
        f"{escape(words.listed(gap.beside))}</li>"
        for number, gap in enumerate(coverage.gaps, 1)
    )
    gaps = f'<ul class="plain small">{gaps}</ul>' if gaps else ""
    bars = escape(bars_said(coverage))
    shown = signs_of(*signs(coverage))
    return f'{gaps}<p class="small soft" style="margin-top:12px">{bars}</p>{shown}'


def _merged(merge: Merge, plates: SweepPlates) -> str:
    picture = plates.picture
    html = ""
    if picture is not None:
        boxes = _boxes(merge, picture.width, picture.height)
        jpeg, tiff = escape(merge.picture_jpeg), escape(merge.picture)
        files = f'<a href="{jpeg}">JPEG</a> and <a href="{tiff}">16-bit TIFF</a>'
        size = f"{merge.crop_px[2] - merge.crop_px[0]} x {merge.crop_px[3] - merge.crop_px[1]} px"
        html += (
            f'<figure><span class="spot"><img src="{data_uri(picture)}" width="{picture.width}" '
            f'height="{picture.height}" alt="{escape(_merged_alt(merge))}">{boxes}</span>'
            f"<figcaption>Merged from {words.counted(len(merge.frames_used), 'frame')} as seen "
            f"from {escape(merge.reference)}, {size}: {files}</figcaption></figure>"
        )
    html += _suspicious(merge)
    if plates.shading is not None:
        html += _shading(plates.shading)
    if merge.left_out:
        rows = "".join(f"<li>{escape(one.frame)}: {escape(one.why)}</li>" for one in merge.left_out)
        html += f'<h3>Not merged</h3><ul class="plain small">{rows}</ul>'
    return html


def _merged_alt(merge: Merge) -> str:
    spots = words.counted(len(merge.suspicious), "place") if merge.suspicious else "no place"
    return f"The merged picture, with {spots} outlined to look at first."


def _boxes(merge: Merge, width: int, height: int) -> str:
    """Outlines over the merged picture; dark under light, so that they show on anything."""
    if not merge.suspicious:
        return ""
    x0, y0, x1, _ = merge.crop_px
    scale = width / max(1, x1 - x0)
    marks = ""
    for number, spot in enumerate(merge.suspicious, 1):
        left, top = (spot.box_px[0] - x0) * scale, (spot.box_px[1] - y0) * scale
        wide = max(8.0, (spot.box_px[2] - spot.box_px[0]) * scale)
        high = max(8.0, (spot.box_px[3] - spot.box_px[1]) * scale)
        box = f'x="{left:.0f}" y="{top:.0f}" width="{wide:.0f}" height="{high:.0f}" fill="none"'
        size = width * 0.038
        marks += (
            f'<rect {box} stroke="#111" stroke-width="6"/>'
            f'<rect {box} stroke="#fff" stroke-width="3" stroke-dasharray="10 5"/>'
            f'<text x="{left + 6:.0f}" y="{top + size + 3:.0f}" font-size="{size:.0f}" '
            'font-weight="700" fill="#fff" stroke="#111" stroke-width="5" '
            f'paint-order="stroke">{number}</text>'
        )
    return f'<svg viewBox="0 0 {width} {height}" aria-hidden="true">{marks}</svg>'


def _suspicious(merge: Merge) -> str:
    if not merge.suspicious:
        return ""
    rows = "".join(
        f'<li class="small"><b>{escape(words.SUSPICION_WORDS[spot.kind])}</b>: '
        f"{escape(spot.text)}</li>"
        for spot in merge.suspicious
    )
    return f'<h3>Look here first</h3><ol class="spots">{rows}</ol>'


def _shading(shading: Shading) -> str:
    near, far = shading.near, shading.far
    ramp = ",".join(f"rgb({r} {g} {b})" for r, g, b in depth_shades(12))
    ends = ""
    if near is not None and far is not None:
        low, high = (f"{v:.2f}".replace("-", "\u2212") for v in (near, far))
        ends = (
            f'<div class="legend" style="background:linear-gradient(90deg,{ramp})"></div>'
            f'<div class="ends"><span>{low}</span><span>{high} {shading.unit}</span></div>'
        )
    picture = shading.picture
    return (
        '<div class="map"><figure>'
        f'<img src="{data_uri(picture, flat=True)}" width="{picture.width}" '
        f'height="{picture.height}" alt="Where each part comes from: pale near, dark far.">'
        f'</figure><div class="small">{ends}<p class="small soft">Which plane each part comes '
        "from: pale is near the camera, dark is far. Hatched: none.</p></div></div>"
    )


# ---------------------------------------------------------------- the rest


def _skipped(outing: Outing) -> str:
    if not outing.skipped:
        return ""
    rows = "".join(f"<li>{escape(one.file)}: {escape(one.why)}</li>" for one in outing.skipped)
    return (
        f'<section id="skipped"><h2>Left out: {words.counted(len(outing.skipped), "file")}</h2>'
        f'<ul class="plain small">{rows}</ul></section>'
    )


def _footer() -> str:
    return (
        '<footer class="small soft"><p class="small"><b>Depth of field</b>: how far in front of '
        "and behind the plane of focus things still look sharp, front to back. <b>In front</b>: "
        "the plane lies nearer to the camera than the eye. <b>Full size</b>: one picture pixel a "
        "screen pixel.</p>"
        '<p class="small">Drawn by haltere. No original was touched, nothing left this computer.'
        "</p></footer>"
    )
