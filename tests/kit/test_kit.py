"""What the kit file says, and what is said when it says nonsense."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from haltere.errors import UsageError, WriteError
from haltere.kit import FORMATS, Kit, read_kit, with_numbers, write_kit

EXAMPLE = """
name = "Garden kit"
coc_mm = 0.012

[sensor]
format = "17.3x13"
width_px = 5184
height_px = 3888

[lens]
focal_mm = 60
f_number = 8
magnification = 2
pupil_magnification = 0.9
"""


def kit_file(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "kit.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_kit_is_read(tmp_path: Path) -> None:
    assert read_kit(kit_file(tmp_path, EXAMPLE)) == Kit(
        name="Garden kit",
        sensor_width_mm=17.3,
        sensor_height_mm=13.0,
        width_px=5184,
        height_px=3888,
        focal_mm=60.0,
        f_number=8.0,
        magnification=2.0,
        pupil_magnification=0.9,
        coc_mm=0.012,
    )


def test_an_empty_file_is_an_empty_kit(tmp_path: Path) -> None:
    assert read_kit(kit_file(tmp_path, "")) == Kit()


@pytest.mark.parametrize("written", ["17.3x13", "17.3 x 13 mm", "17.3×13", "17.3X13"])
def test_a_format_may_be_written_as_people_write_it(tmp_path: Path, written: str) -> None:
    kit = read_kit(kit_file(tmp_path, f'[sensor]\nformat = "{written}"'))
    assert (kit.sensor_width_mm, kit.sensor_height_mm) == FORMATS["17.3x13"]


def test_a_measured_side_wins_over_the_format(tmp_path: Path) -> None:
    text = '[sensor]\nwidth_mm = 17.4\nformat = "17.3x13"'
    assert read_kit(kit_file(tmp_path, text)).sensor_width_mm == 17.4
    text = '[sensor]\nformat = "17.3x13"\nwidth_mm = 17.4'
    assert read_kit(kit_file(tmp_path, text)).sensor_width_mm == 17.4


def test_sides_given_the_other_way_round_are_turned(tmp_path: Path) -> None:
    kit = read_kit(kit_file(tmp_path, "[sensor]\nwidth_px = 3888\nheight_px = 5184"))
    assert (kit.width_px, kit.height_px) == (5184, 3888)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[lens]\nmagnification = 0", r"lens\.magnification: expected a number from"),
        ("[lens]\nmagnification = '2:1'", r"lens\.magnification: .* got '2:1'"),
        ("[lens]\nfocal_mm = true", r"lens\.focal_mm"),
        ("[lens]\nfocal_mm = nan", r"lens\.focal_mm"),
        ("[lens]\nf_number = inf", r"lens\.f_number"),
        ("[sensor]\nwidth_px = 5184.5", r"sensor\.width_px: .*whole number"),
        ("[sensor]\nwidth_px = inf", r"sensor\.width_px"),
        ("[sensor]\nformat = 'large'", r"sensor\.format: expected one of .*36x24"),
        ("[lens]\nmagnificaton = 2", r"did you mean lens\.magnification"),
        ("magnification = 2", r"did you mean lens\.magnification"),
        ("lens = 60", r"lens must be a section, written \[lens\]"),
        ("name = 5", "name: expected a word"),
        ("coc_mm = 15", r"coc_mm: .*circle of confusion on the sensor, in mm"),
        ("name = ", "is not valid TOML"),
        ('[sensor]\nformat = "36x24"\nwidth_px = 4000\nheight_px = 3000', "different shapes"),
    ],
)
def test_nonsense_is_answered_with_file_key_and_cure(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(UsageError, match=says) as caught:
        read_kit(kit_file(tmp_path, text))
    assert "kit.toml" in str(caught.value)
    assert caught.value.exit_code == 2


def test_a_missing_or_binary_file_is_said_plainly(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no such kit file"):
        read_kit(tmp_path / "kit.toml")
    (tmp_path / "kit.toml").write_bytes(b"\xff\xfe\x00\x81")
    with pytest.raises(UsageError, match="not a text file"):
        read_kit(tmp_path / "kit.toml")
    with pytest.raises(UsageError, match=r"can't be read|no such"):
        read_kit(tmp_path)


known = st.one_of(st.none(), st.floats(1.5, 15))


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    name=st.text(min_size=1, max_size=20).filter(lambda s: s == s.strip() and s.isprintable()),
    f_number=known,
    magnification=known,
    focal_mm=known,
    coc_mm=st.one_of(st.none(), st.floats(0.001, 0.1)),
    width_px=st.one_of(st.none(), st.integers(16, 40000)),
)
def test_a_written_kit_reads_back_unchanged(
    tmp_path: Path,
    name: str,
    f_number: float | None,
    magnification: float | None,
    focal_mm: float | None,
    coc_mm: float | None,
    width_px: int | None,
) -> None:
    kit = Kit(
        name=name,
        width_px=width_px,
        focal_mm=focal_mm,
        f_number=f_number,
        magnification=magnification,
        coc_mm=coc_mm,
    )
    write_kit(tmp_path / "kit.toml", kit)
    assert read_kit(tmp_path / "kit.toml") == kit


def test_writing_to_nowhere_is_said_plainly(tmp_path: Path) -> None:
    with pytest.raises(WriteError, match="choose another folder"):
        write_kit(tmp_path / "missing" / "kit.toml", Kit())


@pytest.mark.parametrize(
    ("measured", "sigma", "attached", "fits"),
    [
        (16.0, None, {}, True),
        (8.0, None, {}, False),
        (7.9, 0.1, {}, True),  # within what the measurement can tell
        (7.0, 0.1, {}, False),
        (10.0, None, {"converter": 1.4}, False),
        (12.0, None, {"converter": 1.4}, True),
        (8.0, None, {"close_up_dpt": 5.0}, True),  # the lens itself stands at infinity
        (7.0, None, {"close_up_dpt": 5.0}, False),
    ],
)
def test_a_measured_f_number_brighter_than_the_marked_one_is_refused(
    measured: float, sigma: float | None, attached: dict[str, float], fits: bool
) -> None:
    said = {
        "f_number": 8.0,
        "measured_effective_f_number": measured,
        "measured_effective_f_number_sigma": sigma,
        **attached,
    }
    if fits:
        assert with_numbers(Kit(), said).measured_effective_f_number == measured
        return
    with pytest.raises(UsageError, match="impossible at f/8"):
        with_numbers(Kit(), said)
