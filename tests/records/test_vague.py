"""Places are told no more exactly than was asked for."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haltere.errors import UsageError
from haltere.fieldbook.sensitive import Sensitive
from haltere.fieldbook.sightings import Named, Sighting, Where
from haltere.records.track import distance_m
from haltere.records.vague import kept_vague, place_of, refuse_grid

WHERE = Where(38.713942, -9.140617, 12.0, "WGS84", "hand", "by hand")
SEEN = Sighting(
    "Inventa pratensis", "certain", "Ana", "Ana", "2031-06-14T18:04:12+01:00",
    where=WHERE, locality="hollow lane", country="PT",
)  # fmt: skip
SPECIES = Sensitive(1, "Inventa pratensis", None, None, None, 0.5, "")


def test_no_place_is_told_unless_asked() -> None:
    told = place_of(SEEN, "none", 0.1, ())
    assert (told.latitude_deg, told.longitude_deg, told.locality, told.country) == ("", "", "", "")
    assert told.withheld == "withheld: coordinates, locality"


def test_the_exact_place_is_told_when_asked() -> None:
    told = place_of(SEEN, "exact", 0.1, ())
    assert (told.latitude_deg, told.longitude_deg) == ("38.713942", "-9.140617")
    assert (told.uncertainty_m, told.locality, told.withheld) == (12, "hollow lane", "")


@pytest.mark.parametrize(
    "things",
    [
        (SPECIES,),
        (replace(SPECIES, name="inventa"),),
        (Sensitive(1, None, 38.72, -9.14, 1000.0, 0.5, ""),),
        # the circle ends before the point, and the point's own error reaches into it
        (Sensitive(1, None, 38.722935, -9.140617, 990.0, 0.5, ""),),
    ],
)
def test_a_sensitive_species_or_place_is_never_exact(things: tuple[Sensitive, ...]) -> None:
    told = place_of(SEEN, "exact", 0.1, things)
    assert not told.exact
    assert (told.latitude_deg, told.longitude_deg) == ("38.75", "-9.25")
    assert not told.hour
    assert told.locality == ""


def test_a_sighting_marked_by_hand_is_never_exact() -> None:
    assert not place_of(replace(SEEN, sensitive=True), "exact", 0.1, ()).exact


def test_a_synonym_does_not_get_round_the_list() -> None:
    named = Named("l", "2", "Inventa campestris", "Inventa pratensis", "", {"family": "Inventidae"})
    other = replace(SEEN, name="Inventa campestris", named=named)
    assert kept_vague(other, (SPECIES,)) == SPECIES
    assert kept_vague(other, (replace(SPECIES, name="Inventidae"),)) is not None
    assert kept_vague(other, (replace(SPECIES, name="Invent"),)) is None


def test_of_two_reasons_the_coarser_grid_counts() -> None:
    things = (SPECIES, replace(SPECIES, id=2, name="Inventa", grid_deg=1.0))
    assert place_of(SEEN, "exact", 0.1, things).precision_deg == 1.0


def test_a_grid_asked_for_is_not_made_finer_by_the_list() -> None:
    assert place_of(SEEN, "grid", 2.0, (SPECIES,)).precision_deg == 2.0


@given(
    st.floats(-90, 90),
    st.floats(-180, 180),
    st.sampled_from([0.001, 0.01, 0.1, 0.5, 1.0, 10.0]),
    st.floats(1, 5000),
)
def test_the_circle_on_a_grid_holds_the_animal_s_place(
    latitude: float, longitude: float, side: float, error: float
) -> None:
    where = Where(latitude, longitude, error, "WGS84", "hand", "")
    told = place_of(replace(SEEN, where=where), "grid", side, ())
    middle = (float(told.latitude_deg), float(told.longitude_deg))
    assert abs(middle[0]) <= 90
    assert abs(middle[1]) <= 180
    apart = distance_m(middle, (latitude, longitude))
    assert apart + error <= (told.uncertainty_m or 0) * (1 + 1e-9)


@given(st.floats(0, 1), st.floats(0, 1))
def test_all_points_of_a_cell_are_told_the_same(dy: float, dx: float) -> None:
    where = replace(WHERE, latitude_deg=38.7001 + 0.0998 * dy, longitude_deg=-9.1999 + 0.0998 * dx)
    told = place_of(replace(SEEN, where=where), "grid", 0.1, ())
    assert told == place_of(SEEN, "grid", 0.1, ())


@pytest.mark.parametrize("side", [0.0, -1.0, float("nan"), 1e-6, 90.0])
def test_a_grid_that_hides_or_tells_nothing_is_refused(side: float) -> None:
    with pytest.raises(UsageError):
        refuse_grid(side)
