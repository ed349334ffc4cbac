"""From vigour to curves: temperature, steps and activity do to the true traits what is claimed."""

import numpy as np
import pandas as pd
import pytest

from leavenbench.simulate.activity import add_activity, add_traits
from leavenbench.simulate.calendar import USUAL_DAYS_COLD
from leavenbench.simulate.noise import Noise

STRENGTHS = pd.DataFrame(
    {
        "rise_extent": [140.0], "rise_max_rate": [52.0], "rise_lag_h": [1.8], "leak": [0.04],
        "acid_extent": [2.2], "acid_max_rate": [0.6], "acid_lag_h": [2.0], "ph_start": [6.0],
    },
    index=pd.Index(["Ash"], name="culture"),
)  # fmt: skip


def traits(*, step=3, log_activity=0.0, degC=25.0):
    steps = pd.DataFrame(
        {"culture": ["Ash"], "step": [step], "log_activity": [log_activity], "room_temperature_degC": [degC]}
    )
    return add_traits(steps, STRENGTHS).iloc[0]


def rosso(t, low, best, high):
    """Rosso et al. 1995, Appl Environ Microbiol 61:610, equation 1, written out here once more."""
    inner = (best - low) * (t - best) - (best - high) * (best + low - 2.0 * t)
    return (t - high) * (t - low) ** 2 / ((best - low) * inner)


def test_at_the_reference_a_well_culture_has_its_own_traits_at_the_third_step():
    found = traits()
    for name, value in STRENGTHS.iloc[0].items():
        assert found[name] == pytest.approx(value)


@pytest.mark.parametrize("degC", [18.0, 21.5, 27.0])
@pytest.mark.parametrize(
    ("signal", "cardinal"),  # Gaenzle et al. 1998: yeast 8/27-28/35-36 degC, lactobacilli 4/32-33/41 degC
    [("rise", (8.0, 27.5, 35.5)), ("acid", (4.0, 32.5, 41.0))],
)
def test_temperature_multiplies_rates_and_divides_lags(signal, cardinal, degC):
    pace = rosso(degC, *cardinal) / rosso(25.0, *cardinal)
    warm, here = traits(), traits(degC=degC)
    assert here[f"{signal}_max_rate"] / warm[f"{signal}_max_rate"] == pytest.approx(pace)
    assert here[f"{signal}_lag_h"] / warm[f"{signal}_lag_h"] == pytest.approx(1.0 / pace)
    assert here[f"{signal}_extent"] == warm[f"{signal}_extent"]


@pytest.mark.parametrize("signal", ["rise", "acid"])
def test_activity_moves_rates_one_for_one_lags_up_and_extents_partly_down(signal):
    well, weak = traits(), traits(log_activity=np.log(0.5))
    assert weak[f"{signal}_max_rate"] / well[f"{signal}_max_rate"] == pytest.approx(0.5)
    assert weak[f"{signal}_lag_h"] > well[f"{signal}_lag_h"]
    assert 0.5 < weak[f"{signal}_extent"] / well[f"{signal}_extent"] < 1.0


@pytest.mark.parametrize("signal", ["rise", "acid"])
def test_the_first_step_out_of_the_cold_is_slow_and_the_third_near_full_strength(signal):
    first, second, third, fifth = (traits(step=step) for step in (1, 2, 3, 5))
    rates = [found[f"{signal}_max_rate"] for found in (first, second, third, fifth)]
    assert rates == sorted(rates)
    assert rates[0] < 0.8 * rates[2]
    assert rates[3] < 1.1 * rates[2]
    assert first[f"{signal}_lag_h"] > second[f"{signal}_lag_h"] > third[f"{signal}_lag_h"]


def test_refeed_noise_is_of_the_size_asked_for_at_each_step():
    each = 20000
    steps = pd.DataFrame({"step": np.repeat([1, 2, 3, 5], each), "days_cold": USUAL_DAYS_COLD})
    steps = steps.assign(log_vigour=-0.1, log_day=0.02, log_lot=-0.03)
    found = add_activity(steps, Noise(), np.random.default_rng(8))
    for step, sd in ((1, 0.08), (2, 0.06), (3, 0.05), (5, 0.05)):
        own = found.loc[found["step"] == step, "log_refeed"]
        assert own.std() == pytest.approx(sd, abs=4.0 * sd / np.sqrt(2.0 * each))
    assert (found["log_activity"] - found["log_refeed"]).to_numpy() == pytest.approx(-0.11)


def test_more_days_in_the_cold_cost_the_first_step_most():
    steps = pd.DataFrame({"step": [1, 2, 3], "days_cold": USUAL_DAYS_COLD + 60.0})
    steps = steps.assign(log_vigour=0.0, log_day=0.0, log_lot=0.0)
    cost = add_activity(steps, Noise(), np.random.default_rng(8))["log_cold"].tolist()
    assert cost[0] < cost[1] < cost[2] < 0.0
