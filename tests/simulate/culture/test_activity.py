"""From vigour to living cells: activity is the steepest slope, one for one, and everything else follows from cells."""

import numpy as np
import pandas as pd
import pytest

from leavenbench.simulate.bakehouse.calendar import USUAL_DAYS_COLD
from leavenbench.simulate.culture.activity import add_activity, add_cells
from leavenbench.simulate.culture.fermentation import add_traits
from leavenbench.simulate.culture.strength import draw_strengths
from leavenbench.simulate.noise import Noise

SHELF = pd.DataFrame({"culture": ["Ash", "Elm", "Oak"], "flour": ["white", "dark", "rye"]})
FLOURS = pd.DataFrame({"flour": ["white", "dark", "rye"], "grain": ["wheat", "wheat", "rye"]})
STRENGTHS = draw_strengths(SHELF, FLOURS, Noise(), np.random.default_rng(3))
#: Steepest slopes at steps 1 to 5 against those at the third, as culture/activity.py assumes them.
AT_STEP = {"rise": (0.6, 0.88, 1.0, 1.04, 1.06), "acid": (0.75, 0.93, 1.0, 1.02, 1.03)}


def traits(culture="Ash", log_activity=0.0, log_activity_acid=None, step=3):
    acid = log_activity if log_activity_acid is None else log_activity_acid
    steps = pd.DataFrame(
        {"culture": [culture], "step": [step], "log_activity": [log_activity], "log_activity_acid": [acid]}
    )
    return add_traits(add_cells(steps, STRENGTHS)).iloc[0]


@pytest.mark.parametrize("culture", SHELF["culture"])
def test_a_well_culture_has_all_its_cells_and_its_own_peak(culture):
    found = traits(culture)
    assert found["rise_live"] == pytest.approx(1.0, abs=1e-6)
    assert found["acid_live"] == pytest.approx(1.0, abs=1e-6)
    assert found["rise_peak"] == pytest.approx(STRENGTHS.at[culture, "rise_extent"], rel=1e-6)


@pytest.mark.parametrize("activity", [0.3, 0.5, 0.8, 1.2])
@pytest.mark.parametrize("step", [1, 2, 3, 5])
@pytest.mark.parametrize("signal", ["rise", "acid"])
def test_activity_is_the_steepest_slope_one_for_one_at_every_step(signal, step, activity):
    well, now = (traits(step=step, log_activity=log)[f"{signal}_max_rate"] for log in (0.0, np.log(activity)))
    assert now / well == pytest.approx(activity, rel=0.01)  # the curve is drawn, and cells are looked up, on grids


@pytest.mark.parametrize("signal", ["rise", "acid"])
def test_the_first_step_out_of_the_cold_is_slow_and_the_third_near_full_strength(signal):
    found = [traits(step=step) for step in (1, 2, 3, 4, 5)]
    lags = [one[f"{signal}_lag_h"] for one in found]
    assert lags[0] > lags[1] > lags[2]
    shares = [one[f"{signal}_max_rate"] / found[2][f"{signal}_max_rate"] for one in found]
    # Slower waking takes up to a third more off the first step than its share says, and off the second hardly anything.
    assert shares[2:] == pytest.approx(AT_STEP[signal][2:], rel=0.01)
    assert 0.7 < shares[0] / AT_STEP[signal][0] < 1.0
    assert 0.9 < shares[1] / AT_STEP[signal][1] < 1.0


def test_a_weak_culture_lost_more_cells_than_its_slope_shows_waits_longer_and_rises_less():
    well, weak = traits(), traits(log_activity=np.log(0.5))
    assert weak["rise_live"] < 0.5
    assert weak["acid_live"] < 0.5
    assert weak["rise_lag_h"] > well["rise_lag_h"]
    assert 0.7 < weak["rise_peak"] / well["rise_peak"] < 1.0


def test_rise_and_souring_can_part():
    well, taken = traits(), traits(log_activity=np.log(1.25), log_activity_acid=np.log(0.6))
    assert taken["rise_max_rate"] / well["rise_max_rate"] == pytest.approx(1.25, rel=0.01)
    assert taken["acid_max_rate"] / well["acid_max_rate"] == pytest.approx(0.6, rel=0.01)


def steps_of(step, days_cold=USUAL_DAYS_COLD):
    calm = dict.fromkeys(["log_vigour", "log_vigour_acid", "log_day", "log_lot", "log_seed"], 0.0)
    return pd.DataFrame({"step": step, "days_cold": days_cold}).assign(**calm)


def test_refeed_noise_is_of_the_size_asked_for_at_each_step_and_souring_has_its_own():
    each = 20000
    steps = steps_of(np.repeat([1, 2, 3, 5], each))
    steps = steps.assign(log_vigour=-0.1, log_vigour_acid=-0.3, log_day=0.02, log_lot=-0.03, log_seed=0.01)
    found = add_activity(steps, Noise(), np.random.default_rng(8))
    for step, sd in ((1, 0.08), (2, 0.06), (3, 0.05), (5, 0.05)):
        own = found.loc[found["step"] == step, "log_refeed"]
        assert own.std() == pytest.approx(sd, abs=4.0 * sd / np.sqrt(2.0 * each))
    assert (found["log_activity"] - found["log_refeed"]).to_numpy() == pytest.approx(-0.1 + 0.02 - 0.03 + 0.01)
    apart = found["log_activity_acid"] - found["log_activity"]
    assert apart.mean() == pytest.approx(-0.2, abs=4.0 * 0.03 / np.sqrt(4.0 * each))
    assert apart.std() == pytest.approx(0.03, abs=4.0 * 0.03 / np.sqrt(8.0 * each))


def test_more_days_in_the_cold_cost_the_first_step_most():
    steps = steps_of([1, 2, 3], USUAL_DAYS_COLD + 60.0)
    cost = add_activity(steps, Noise(), np.random.default_rng(8))["log_cold"].tolist()
    assert cost[0] < cost[1] < cost[2] < 0.0
