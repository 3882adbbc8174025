"""The pyramid: what is drawn from it shows every spike that the samples hold, and it is never stale.

The truth is taken from the samples by numpy's own minimum and maximum, column by column.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.signal import Signal, signal
from dashboard import pyramid as pyramids
from dashboard.pyramid import BLOCK, WORTH, build, file_of, keep, known, pyramid_of, read, write
from dashboard.thin import gap_after, thin_signal

POINTS = 40


def made_up(n: int, seed: int, spikes: list[float], gaps: list[float]) -> Signal:
    rng = np.random.default_rng(seed)
    step = np.full(n, 0.001)
    step[[int(g * (n - 1)) for g in gaps]] = 3.0
    x = rng.normal(0, 1, n)
    where = [int(s * (n - 1)) for s in spikes]
    x[where] += rng.choice([-100.0, 100.0], len(where))
    return signal("pack_current_A", np.cumsum(step), x)


@settings(max_examples=60, deadline=None)
@given(
    st.integers(min_value=1, max_value=120_000),
    st.integers(min_value=0, max_value=2**32 - 1),
    st.lists(st.floats(0, 1), max_size=30),
    st.lists(st.floats(0, 1), max_size=4),
    st.tuples(st.floats(-0.2, 1.2), st.floats(-0.2, 1.2)),
)
def test_every_spike_of_the_window_is_in_the_thinned_view(
    n: int, seed: int, spikes: list[float], gaps: list[float], ends: tuple[float, float]
) -> None:
    s = made_up(n, seed, spikes, gaps)
    span = s.t_s[-1] - s.t_s[0]
    start, end = (float(s.t_s[0] + span * f) for f in sorted(ends))
    t, x = thin_signal(s, start, end, POINTS)
    drawn = np.isfinite(x)
    assert np.all(np.diff(t) >= 0)
    assert np.isin(x[drawn], s.x).all()
    seen = s.between(start, end)
    if not len(seen):
        return
    # a column may borrow at most one block at each of its borders
    width = (end - start) / (POINTS // 2)
    for i in np.flatnonzero(np.abs(seen.x) > 50):
        low, high = seen.t_s[i] - width, seen.t_s[i] + width
        at = int(np.searchsorted(s.t_s, seen.t_s[i]))
        low = min(low, s.t_s[max(0, at - BLOCK)])
        high = max(high, s.t_s[min(n - 1, at + BLOCK)])
        near = drawn & (t >= low) & (t <= high)
        assert near.any()
        assert x[near].max() >= seen.x[i] if seen.x[i] > 0 else x[near].min() <= seen.x[i]
    assert x[drawn].max() >= seen.x.max()
    assert x[drawn].min() <= seen.x.min()


@settings(max_examples=40, deadline=None)
@given(st.integers(30_000, 120_000), st.lists(st.floats(0, 1), min_size=1, max_size=6), st.floats(0, 0.3))
def test_a_gap_stays_open_in_the_first_view_and_in_a_long_window(n: int, gaps: list[float], start: float) -> None:
    s = made_up(n, 1, [], gaps)
    broken = np.flatnonzero(gap_after(s))
    for window in ((None, None), (float(s.t_s[int(start * n)]), float(s.t_s[-1]))):
        t, x = thin_signal(s, *window, points=POINTS)
        for i in broken[broken > int(start * n)]:
            inside = (t >= s.t_s[i]) & (t <= s.t_s[i + 1])
            assert np.isnan(x[inside]).any()
        assert np.isnan(x).sum() <= len(broken)


def test_columns_of_the_whole_view_are_those_of_the_samples() -> None:
    """Every column of whole blocks shows exactly the least and the greatest of its samples."""
    n = BLOCK * 400
    s = made_up(n, 5, [], [])
    t, x = thin_signal(s, points=POINTS)
    blocks = s.x.reshape(400, BLOCK)
    first = np.arange(400) * BLOCK + np.minimum(blocks.argmin(axis=1), blocks.argmax(axis=1))
    share = (s.t_s[first] - s.t_s[first[0]]) / (s.t_s[first[-1]] - s.t_s[first[0]])
    column = np.minimum((share * (POINTS // 2)).astype(int), POINTS // 2 - 1)  # of a block, by its first extreme
    assert n > 4 * BLOCK * POINTS // 2
    for c in range(POINTS // 2):
        assert blocks[column == c].max() in x
        assert blocks[column == c].min() in x
    assert len(t) <= POINTS + 2


def test_kept_beside_the_samples_and_read_again_without_building(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    s = made_up(WORTH + 77, 2, [0.4], [0.5])
    keep(tmp_path, "f" * 64, {"pack_current_A": s})
    path = file_of(tmp_path, "f" * 64)
    assert path.parent == tmp_path / "pyramids"
    again = dataclasses.replace(s)
    monkeypatch.setattr(pyramids, "build", lambda good: pytest.fail("built though it was kept"))
    keep(tmp_path, "f" * 64, {"pack_current_A": again})
    assert known(again)
    for name in ("at", "t_s", "x", "gaps", "gap_t_s", "gap_x"):
        np.testing.assert_array_equal(getattr(pyramid_of(again), name), getattr(pyramid_of(s), name))


@pytest.mark.parametrize("harm", ["cut", "flipped", "gone", "empty", "foreign"])
def test_damaged_or_missing_is_made_anew(tmp_path: Path, harm: str) -> None:
    s = made_up(WORTH, 3, [0.1], [])
    keep(tmp_path, "a", {"x": s})
    path = file_of(tmp_path, "a")
    good = path.read_bytes()
    if harm == "gone":
        path.unlink()
    else:
        flipped = bytearray(good)
        flipped[len(good) // 2] ^= 1
        path.write_bytes({"cut": good[:-9], "flipped": bytes(flipped), "empty": b"", "foreign": b"x" * 500}[harm])
    assert read(path) == {}
    again = dataclasses.replace(s)
    keep(tmp_path, "a", {"x": again})
    np.testing.assert_array_equal(pyramid_of(again).x, build(s).x)
    assert read(path).keys() == {"x"}


def test_one_of_other_samples_is_never_drawn_from(tmp_path: Path) -> None:
    """A file under the right name, whole, but of other samples: the values at its own places give it away."""
    old, new = made_up(WORTH, 4, [], []), made_up(WORTH, 4, [0.5], [])
    write(file_of(tmp_path, "a"), {"x": build(old)})
    keep(tmp_path, "a", {"x": new})
    np.testing.assert_array_equal(pyramid_of(new).x, build(new).x)
    assert file_of(tmp_path, "a") != file_of(tmp_path, "b")


def test_short_signals_need_no_file_and_old_files_are_let_go(tmp_path: Path) -> None:
    keep(tmp_path, "a", {"x": made_up(WORTH - 1, 5, [], [])})
    assert not (tmp_path / "pyramids").exists()
    small = {"x": build(made_up(1000, 6, [], []))}
    for i in range(pyramids.KEPT_FILES + 3):
        write(file_of(tmp_path, str(i)), small)
    assert len(list((tmp_path / "pyramids").glob("*.npz"))) == pyramids.KEPT_FILES
