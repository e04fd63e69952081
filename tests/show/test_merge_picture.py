from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from haltere.errors import UsageError
from haltere.frames import write_jpeg
from haltere.merge.merged import LeftOut, Merge, Suspicious
from haltere.show.drawing import Box
from haltere.show.merge_picture import draw_merge, places_drawn


def made(folder: Path, spots: tuple[Suspicious, ...]) -> Merge:
    grey = np.full((300, 400, 3), 90, np.uint8)
    grey[100:140, 200:260] = 200
    write_jpeg(folder / "p.jpg", grey, None)
    return Merge(
        "p.tif", "p.jpg", "o.tif", "d.tif", "c.tif", "s.tif", "views.json", "mm", "b.jpg",
        ("a.jpg", "b.jpg"), (LeftOut("c.jpg", "smeared & <dark>"),), (20, 10, 420, 310), 0.94,
        spots, 1.0, 200.0,
    )  # fmt: skip


SPOTS = (
    Suspicious("moved", (220.0, 110.0, 280.0, 150.0), "moved between a.jpg and b.jpg"),
    Suspicious("halo", (30.0, 200.0, 50.0, 230.0), "a bright seam"),
)


def test_boxes_lie_where_the_picture_shows_the_places(tmp_path: Path) -> None:
    drawing = places_drawn(made(tmp_path, SPOTS), (400, 300), 800.0)
    boxes = [m for m in drawing.marks if isinstance(m, Box) and m.outline == "warn" and not m.fill]
    assert (boxes[0].x0, boxes[0].y0, boxes[0].x1, boxes[0].y1) == (400.0, 200.0, 520.0, 280.0)


def test_the_page_walks_through_every_place_and_names_what_was_left_out(tmp_path: Path) -> None:
    page = draw_merge(made(tmp_path, SPOTS), tmp_path, tmp_path / "w.html").read_text("utf-8")
    for spot in SPOTS:
        assert spot.text in page
    assert page.count("<figure>") == 3
    assert "smeared &amp; &lt;dark&gt;" in page and "94 % is kept" in page


def test_without_a_place_the_page_says_so_and_still_sends_one_to_look(tmp_path: Path) -> None:
    page = draw_merge(made(tmp_path, ()), tmp_path, tmp_path / "w.html").read_text("utf-8")
    assert "No place stands out" in page and "feelers" in page


def test_the_picture_shows_the_place_at_full_size(tmp_path: Path) -> None:
    path = draw_merge(made(tmp_path, SPOTS), tmp_path, tmp_path / "w.png")
    with Image.open(path) as drawn:
        assert drawn.width == 2 * 1112
        pixels = np.asarray(drawn.convert("L"))
    # the bright patch is seen in the whole and again in its close view
    rows = np.flatnonzero((abs(pixels.astype(int) - 200) < 6).sum(1) > 60)
    assert len(rows) and np.diff(rows).max() > 100


def test_another_ending_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="PNG or an HTML"):
        draw_merge(made(tmp_path, SPOTS), tmp_path, tmp_path / "w.gif")
