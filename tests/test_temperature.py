"""The cardinal temperature model against published values."""

import numpy as np
import pytest

from leavenbench.temperature import LACTIC, YEAST, Cardinal, rate_against_reference, relative_rate

# Rosso et al. 1995, doi 10.1128/aem.61.2.610-616.1995, for 5 / 20 / 30 degC (R, C)
ROSSO = Cardinal(5.0, 20.0, 30.0)


@pytest.mark.parametrize(
    ("degC", "expected"), [(6.0, 0.02), (10.0, 1 / 3), (15.0, 0.8), (22.0, 0.9633333), (25.0, 0.7619048)]
)
def test_published_values(degC, expected):
    assert relative_rate(degC, ROSSO) == pytest.approx(expected, abs=5e-8)


@pytest.mark.parametrize("cardinal", [ROSSO, YEAST, LACTIC])
def test_one_at_the_optimum_and_nothing_outside(cardinal):
    low, best, high = cardinal
    assert relative_rate(best, cardinal) == pytest.approx(1.0, rel=1e-12)
    assert relative_rate([best - 0.5, best + 0.5], cardinal).max() < 1.0
    np.testing.assert_array_equal(relative_rate([low - 10, low, high, high + 10], cardinal), 0.0)
    np.testing.assert_allclose(relative_rate([low + 1e-9, high - 1e-9], cardinal), 0.0, atol=1e-8)


# Gaenzle et al. 1998, doi 10.1128/AEM.64.7.2616-2623.1998: doubling times twice and four times that of the optimum
# below it (abstract R; the numbers as later published by the same author). Given as "twice", so to a tenth.
@pytest.mark.parametrize(
    ("cardinal", "degC", "expected"), [(LACTIC, 20.0, 0.5), (LACTIC, 15.0, 0.25), (YEAST, 14.0, 0.25)]
)
def test_sourdough_organisms_below_their_optimum(cardinal, degC, expected):
    assert relative_rate(degC, cardinal) == pytest.approx(expected, abs=0.1)


# Cautions, not virtues: values of the model's own equation (C) where the same doubling times say about one half
@pytest.mark.parametrize(("cardinal", "degC", "expected"), [(LACTIC, 37.0, 0.802), (YEAST, 20.0, 0.628)])
def test_where_the_model_overstates(cardinal, degC, expected):
    assert relative_rate(degC, cardinal) == pytest.approx(expected, abs=5e-4)


def test_missing_temperatures_stay_missing():
    found = relative_rate([np.nan, 20.0], ROSSO)
    assert np.isnan(found[0])
    assert found[1] == pytest.approx(1.0)


def test_the_reference_temperature_counts_as_one():
    assert rate_against_reference(22.0, YEAST, 22.0) == pytest.approx(1.0, rel=1e-12)
    ratio = relative_rate(18.0, YEAST) / relative_rate(25.0, YEAST)
    assert rate_against_reference(18.0, YEAST) == pytest.approx(ratio, rel=1e-12)
    assert ratio < 1.0
