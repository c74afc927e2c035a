"""The Sobol points of the draws, against those of scipy."""

import numpy as np
import pytest
from scipy.stats import qmc

from yieldest.uncertainty import sobol


@pytest.mark.parametrize(("dimensions", "power"), [(1, 0), (1, 4), (54, 9), (700, 3)])
def test_points_are_those_of_scipy(dimensions, power):
    points = sobol.scrambled_sobol(dimensions, power, np.random.default_rng([3, dimensions]))
    expected = qmc.Sobol(dimensions, rng=np.random.default_rng([3, dimensions])).random_base2(power)
    np.testing.assert_array_equal(points.T, expected)


def test_a_scipy_without_the_table_is_asked_itself(monkeypatch, tmp_path):
    quick = sobol.scrambled_sobol(5, 6, np.random.default_rng(1))
    sobol._directions.cache_clear()
    monkeypatch.setattr(sobol, "files", lambda package: tmp_path)
    np.testing.assert_array_equal(sobol.scrambled_sobol(5, 6, np.random.default_rng(1)), quick)
