"""How a season's matches are handed out: each once, in order, several together, and the last ones singly."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.season_run import PARCEL, _parcels


@settings(deadline=None)
@given(st.integers(0, 3000), st.integers(1, 300), st.booleans())
def test_every_match_is_handed_out_once_and_in_order(count: int, least: int, dwindling: bool) -> None:
    matches = [f"m{number}" for number in range(count)]
    parcels = _parcels(matches, least, dwindling=dwindling)
    assert [match for parcel in parcels for match in parcel] == matches
    assert all(1 <= len(parcel) <= PARCEL for parcel in parcels)
    assert len(parcels) >= min(least, count)


@settings(deadline=None)
@given(st.integers(50, 3000), st.integers(2, 32))
def test_the_last_parcels_hold_one_match_each(count: int, least: int) -> None:
    parcels = _parcels([str(number) for number in range(count)], least, dwindling=True)
    sizes = [len(parcel) for parcel in parcels]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[-min(least, count) :] == [1] * min(least, count)
