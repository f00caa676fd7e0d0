"""The fewest stops against enumeration of every subset, and the tables around them."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from tautwire.model.errors import InputError
from tautwire.model.operating.reel import best_stop_each, fewest_stops, neighbour_swr

matrices = st.tuples(st.integers(1, 7), st.integers(1, 6)).flatmap(
    lambda shape: arrays(float, shape, elements=st.sampled_from([1.0, 1.2, 1.5, 1.9, 2.0, 2.5, 6.0, np.inf]))
)


def by_enumeration(swr: np.ndarray, threshold: float) -> tuple[int, float, float]:
    """Size, worst and sum of the best cover, trying every subset of stops."""
    can = (swr <= threshold).any(axis=0)
    for size in range(len(swr) + 1):
        scores = []
        for subset in combinations(range(len(swr)), size):
            best = swr[list(subset)].min(axis=0, initial=np.inf)[can]
            if np.all(best <= threshold):
                scores.append((best.max(initial=0.0), best.sum()))
        if scores:
            return size, *min(scores)
    raise AssertionError("the full set always covers")


@settings(max_examples=150, deadline=None)
@given(matrices, st.sampled_from([1.3, 2.0, 3.0]))
def test_fewest_stops_against_enumeration(swr: np.ndarray, threshold: float) -> None:
    size, worst, total = by_enumeration(swr, threshold)
    got = fewest_stops(swr, threshold)
    assert len(got.chosen) == size
    served = [j for j in range(swr.shape[1]) if j not in got.unserved]
    assert max((got.swr[j] for j in served), default=0) == worst
    assert sum(got.swr[j] for j in served) == pytest.approx(total)
    for j in served:
        stop = got.serving[j]
        assert stop in got.chosen and stop is not None and swr[stop, j] == got.swr[j]
    for j in got.unserved:
        assert got.serving[j] is None and np.all(swr[:, j] > threshold)


@pytest.mark.parametrize("seed", range(6))
def test_fewest_stops_against_enumeration_on_reel_like_tables(seed: int) -> None:
    """Smooth SWR valleys over 14 stops for 9 segments, as a reel gives."""
    rng = np.random.default_rng(seed)
    centre, slope = rng.uniform(0, 13, 9), rng.uniform(0.1, 0.8, 9)
    swr = 1.05 + rng.uniform(0, 0.4, 9) + slope * np.abs(np.arange(14)[:, None] - centre)
    size, worst, total = by_enumeration(swr, 2.0)
    got = fewest_stops(swr, 2.0)
    assert (len(got.chosen), max(got.swr)) == (size, worst)
    assert sum(got.swr) == pytest.approx(total)


def test_nothing_can_be_served() -> None:
    got = fewest_stops([[3.0, np.inf], [4.0, 9.0]], 2.0)
    assert got.chosen == () and got.unserved == (0, 1) and got.serving == (None, None)
    assert got.swr == (3.0, 9.0)


def test_best_stop_and_neighbours() -> None:
    swr = np.array([[1.5, 3.0], [1.1, 2.0], [1.7, 1.2]])
    best, value = best_stop_each(swr)
    assert list(best) == [1, 2] and list(value) == [1.1, 1.2]
    assert list(neighbour_swr(swr, best)) == [1.7, 2.0]


@pytest.mark.parametrize("bad", [[], [[]], [1.0, 2.0], [[0.5]], [[np.nan]], [[-1.0, 2.0]]])
def test_bad_tables_are_refused(bad: list) -> None:
    with pytest.raises(InputError, match="swr"):
        fewest_stops(bad, 2.0)


def test_bad_thresholds_and_neighbours_are_refused() -> None:
    for threshold in (1.0, np.nan, np.inf, 0.0):
        with pytest.raises(InputError, match="threshold"):
            fewest_stops([[1.5]], threshold)
    for stops, offset in (([0], 1), ([0, 9], 1), ([0, 0], 0), ([0, 0], 3)):
        with pytest.raises(InputError):
            neighbour_swr([[1.5, 2.0], [1.2, 3.0]], stops, offset)
    with pytest.raises(InputError, match="offset"):
        neighbour_swr([[1.5], [1.2], [1.4]], [1], 2)
