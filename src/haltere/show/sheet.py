"""The sheet of an outing: one page that needs nothing but itself."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

from haltere.keepers.verdict import JudgedFrame, Keepers
from haltere.merge.merged import Merge
from haltere.show import words
from haltere.show.colours import Ink, depth_shades
from haltere.show.drawing import Drawing, Shape, ShapeKind
from haltere.show.ladder import ladder
from haltere.show.outing import Outing, WorkedRun
from haltere.show.pictures import SIZES, Seen, Shading, data_uri
from haltere.show.plates import Plates, SweepPlates
from haltere.show.rail import hung, in_space, rail
from haltere.show.strip import strip
from haltere.show.style import css
from haltere.show.svg import svg
from haltere.sweeps.coverage import Coverage

WIDE, SLIM = 1040.0, 358.0
"""Widths that drawings are made for: a page, and a phone."""


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
        "<!doctype html>",
        '<html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width,initial-scale=1">',
        f"<title>{escape(outing.name)}: sheet of an outing</title>",
        f"<style>{css()}</style></head><body><main><header>",
        f"<h1>{escape(outing.name)}</h1>",
        f'<p class="small soft">{escape(words.date_line(outing))}</p>',
        f'<p class="lead">{escape(words.summary(outing))}</p></header>',
    ]
    if outing.runs:
        parts.append('<nav aria-label="Runs in order of time">')
        parts.append(svg(strip(outing, WIDE), "wide") + svg(strip(outing, SLIM), "slim"))
        parts.append("</nav>")
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
    pictures = worked.keepers is not None and bool(plates.seen)
    place = {"burst": ' class="burst"', "single": ' class="single-run"'}.get(run.kind, "")
    place = place if pictures else ""
    head = (
        f'<section id="{escape(run.id)}"{place}><div class="head">'
        f'<span class="number">{escape(run.id.removeprefix("run-"))}</span>'
        f"<div><h2>{escape(title[0].upper() + title[1:])}</h2>"
        f'<p class="small soft">{escape(facts)}</p></div></div>'
    )
    body = ""
    if worked.failed is not None:
        body += _said("Could not be worked to the end", worked.failed, False)
    if worked.keepers is not None:
        show = _single if run.kind == "single" else _burst
        body += show(worked.keepers, plates)
    if worked.gaps is not None:
        body += _sweep(worked.gaps, worked.merge, plates.sweep)
    return f"{head}{body}</section>"


def _said(head: str, text: str, good: bool) -> str:
    mark = "good" if good else "bad"
    return f'<p class="said"><span class="{mark}">{escape(head)}.</span> {escape(text)}</p>'


# ------------------------------------------------------------------ bursts


def _burst(keepers: Keepers, plates: Plates) -> str:
    verdict = _said(
        words.verdict_head(keepers), keepers.verdict.text, keepers.verdict.code == "keeper"
    )
    top = [frame for frame in hung(keepers, SIZES.hung) if frame.frame in plates.seen]
    row = in_space(top)
    hooks = [(f.frame, hook_x(i, len(row), WIDE)) for i, f in enumerate(row)]
    best = min(keepers.frames, key=lambda f: f.rank, default=None)
    look = plates.seen.get(best.frame) if best is not None else None
    signs = _signs(
        ("disc", "accent", "keeper"),
        ("ring", "soft", "not a keeper"),
        ("cross", "warn", "another fault than focus"),
    )
    if best is not None and look is not None:
        verdict = (
            f'<div class="pair"><div>{verdict}{signs}<p class="small soft">Numbers are ranks, '
            "1 is the best. A line through a sign is one standard deviation to each side.</p>"
            f"</div>{_look(best.frame, look)}</div>"
        )
    else:
        verdict += signs
    html = verdict
    if any(frame.eye_offset_dof is not None for frame in keepers.frames):
        html += svg(rail(keepers, WIDE, hooks), "wide") + svg(rail(keepers, SLIM), "slim")
    if row:
        html += f'<div class="hung" style="--n:{len(row)}">'
        html += "".join(_crop(f, plates.seen[f.frame]) for f in row) + "</div>"
    return html + _rest(keepers, plates, {f.frame for f in row})


def hook_x(number: int, count: int, width: float) -> float:
    """Where the middle of the `number`-th of `count` hung crops is; each takes a fifth.

    Parameters
    ----------
    number : int
        Place in the row, from 0.
    count : int
        How many hang.
    width : float
        Width, in units.
    """
    fifth = width / SIZES.hung
    return width / 2 + (number - (count - 1) / 2) * fifth


def _crop(frame: JudgedFrame, seen: Seen) -> str:
    if seen.crop is None:
        return ""
    best = ""
    if frame.rank == 1:
        best = ' class="best"' if frame.keeper else ' class="best soft-best"'
    return (
        f'<figure{best} style="--rank:{frame.rank}">'
        f'<img src="{data_uri(seen.crop)}" width="{seen.crop.width}" height="{seen.crop.height}" '
        f'alt="{escape(_crop_alt(frame))}">'
        f'<figcaption><span class="rank">{frame.rank}</span> {escape(frame.frame)}<br>'
        f"{_caption(frame)}</figcaption></figure>"
    )


def _crop_alt(frame: JudgedFrame) -> str:
    return f"The eye in {frame.frame}, one picture pixel a screen pixel; {words.place(frame)}."


def _caption(frame: JudgedFrame) -> str:
    said = [escape(words.place(frame))]
    if frame.keeper:
        said.insert(0, '<span class="good">keeper</span>')
    found = words.faults(frame.faults, but=("defocus",))
    if found:
        said.append(f'<span class="bad">{escape(", ".join(found))}</span>')
    return ", ".join(said)


def _rest(keepers: Keepers, plates: Plates, hung_names: set[str]) -> str:
    rest = [frame for frame in keepers.frames if frame.frame not in hung_names]
    rest.sort(key=lambda frame: frame.rank)
    if not rest:
        return ""
    shown = [f for f in rest if f.frame in plates.seen and plates.seen[f.frame].crop is not None]
    crops = "".join(_crop(f, plates.seen[f.frame]) for f in shown)
    rows = "".join(
        f'<tr><td class="n">{f.rank}</td><td>{escape(f.frame)}</td>'
        f"<td>{_caption(f)}</td>"
        f'<td class="n opt">{f.sharpness:.2f}</td></tr>'
        for f in rest
        if f not in shown
    )
    html = f"<h3>The other {words.counted(len(rest), 'frame')}</h3>"
    if crops:
        html += f'<div class="rest">{crops}</div>'
    if rows:
        html += (
            '<table><thead><tr><th class="n">rank</th><th>frame</th><th>plane of focus and faults'
            f'</th><th class="n opt">sharpness</th></tr></thead><tbody>{rows}</tbody></table>'
        )
    return html


def _look(name: str, seen: Seen) -> str:
    """Show a whole frame, small, with a ring around the eye."""
    mark = ""
    if seen.eye_part is not None:
        x, y = seen.eye_part[0] * seen.look.width, seen.eye_part[1] * seen.look.height
        r = seen.look.width * 0.045
        mark = (
            f'<svg viewBox="0 0 {seen.look.width} {seen.look.height}" aria-hidden="true">'
            f'<circle cx="{x:.0f}" cy="{y:.0f}" r="{r:.0f}" fill="none" stroke="#111" '
            f'stroke-width="5"/><circle cx="{x:.0f}" cy="{y:.0f}" r="{r:.0f}" fill="none" '
            'stroke="#fff" stroke-width="2.5"/></svg>'
        )
    where = ", the eye ringed" if mark else ""
    return (
        f'<figure><span class="spot"><img src="{data_uri(seen.look, quality=80)}" '
        f'width="{seen.look.width}" height="{seen.look.height}" '
        f'alt="All of {escape(name)}{where}.">{mark}</span>'
        f"<figcaption>All of {escape(name)}{where}</figcaption></figure>"
    )


def _single(keepers: Keepers, plates: Plates) -> str:
    html = _said(
        words.verdict_head(keepers), keepers.verdict.text, keepers.verdict.code == "keeper"
    )
    frame = keepers.frames[0] if keepers.frames else None
    seen = plates.seen.get(frame.frame) if frame is not None else None
    if frame is None or seen is None:
        return html
    crop = ""
    if seen.crop is not None:
        crop = (
            f'<figure class="crop"><img src="{data_uri(seen.crop)}" width="{seen.crop.width}" '
            f'height="{seen.crop.height}" alt="{escape(_crop_alt(frame))}">'
            f"<figcaption>The eye, full size<br>{_caption(frame)}</figcaption></figure>"
        )
    look = _look(frame.frame, seen)
    return f'<div class="single"><div>{html}</div>{crop}{look}</div>'


# ------------------------------------------------------------------ sweeps


def _sweep(coverage: Coverage, merge: Merge | None, plates: SweepPlates | None) -> str:
    html = _said(words.coverage_head(coverage), coverage.reason, coverage.complete is True)
    deep = svg(ladder(coverage, 340), "ladder") + _ladder_words(coverage)
    html += f'<div class="sweep"><div class="deep">{deep}</div>'
    if merge is not None and plates is not None:
        html += f"<div>{_merged(merge, plates)}</div>"
    return html + "</div>"


def _ladder_words(coverage: Coverage) -> str:
    signs = _signs(
        ("down", "accent", "pass away from the camera"),
        ("up", "accent", "pass toward it"),
        ("disc", "accent", "reference frame"),
        ("cross", "warn", "plane that can't be used"),
    )
    dof = coverage.depth_of_field_mm
    size = "one unit of the scale, which is not known in mm" if dof is None else f"{dof:.2f} mm"
    said = f"Each bar is one frame's depth of field, {size}; the line in it is its plane of focus."
    gaps = "".join(
        f'<li><span class="bad">{escape(words.gap(gap))}</span>, beside '
        f"{escape(words.listed(gap.beside))}</li>"
        for gap in coverage.gaps
    )
    gaps = f'<ul class="plain small">{gaps}</ul>' if gaps else ""
    return f'{gaps}<p class="small soft" style="margin-top:12px">{escape(said)}</p>{signs}'


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


def _signs(*signs: tuple[ShapeKind, Ink, str]) -> str:
    rows = ""
    for kind, ink, said in signs:
        mark = Shape(kind, 7, 7, 5, ink)
        rows += f'<li class="small soft">{svg(Drawing(14, 14, (mark,), ""))}{escape(said)}</li>'
    return f'<ul class="signs">{rows}</ul>'


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
