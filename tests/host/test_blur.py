"""Blur, against scipy's."""

import numpy as np
import pytest
from scipy import ndimage

from linewright.sources.blur import blurred


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize(("sigma", "truncate"), [(1.0, 4.0), (15.2, 4.0), ((2.0, 3.5), 3.0), (0.35, 3.0)])
@pytest.mark.parametrize("shape", [(40, 60), (1, 9), (7, 1), (3, 3)])
def test_blurs_as_scipy_does(
    shape: tuple[int, int], sigma: float | tuple[float, float], truncate: float, dtype: type
) -> None:
    values = np.random.default_rng(1).random(shape).astype(dtype)
    found = blurred(values, sigma, truncate)
    assert found.dtype == dtype
    assert found.shape == shape
    wanted = ndimage.gaussian_filter(values.astype(np.float64), sigma, mode="nearest", truncate=truncate)
    assert np.abs(found - wanted).max() < (2e-6 if dtype is np.float32 else 1e-12)
