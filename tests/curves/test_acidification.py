"""Acidification against closed forms, against finite differences, and against a parametric bootstrap.

The traits, 15 min and 0.08 pH are those of ISO 26323:2009 | IDF 213 as a secondary guide tells them.
"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from leavenbench.curves.acidification import acidification, acidification_of_shelf, time_to_ph
from leavenbench.curves.models import GROWTH
from leavenbench.curves.trace import trace
from leavenbench.errors import CannotRead

START, A, MU, LAG, NU = 6.0, 2.2, 0.5, 1.5, 0.6
LOGGER = np.arange(0.0, 14.01, 1.0 / 6.0)
HOURLY = np.arange(0.0, 14.1)


def ph(t, growth="gompertz"):
    p = np.array([A, MU, LAG, NU][: len(GROWTH[growth].parameters)])
    return START - GROWTH[growth].value(np.asarray(t, float), p)


def read(hours, growth="gompertz", noise=0.02, seed=1):
    return ph(hours, growth) + np.random.default_rng(seed).normal(0.0, noise, len(hours))


def by_trait(table):
    assert table["trait"].is_unique
    return table.set_index("trait")


def told(hours, values, **asked):
    return by_trait(acidification(trace(hours, values, "ph_direct"), hours, **asked))


def shelf(**refeeds):
    """Return signals of refeeds, each given as hours and pH."""
    parts = [pd.DataFrame({"refeed": name, "elapsed_h": t, "value": y}) for name, (t, y) in refeeds.items()]
    return pd.concat(parts, ignore_index=True).assign(signal="acid", kind="ph_direct")


def logistic_hour(drop):
    """Zwietering's logistic y = A / (1 + exp(4 mu (lambda - t) / A + 2)), solved for t."""
    return LAG + A / (4 * MU) * (2 - np.log(A / drop - 1))


def gompertz_hour(drop):
    """Zwietering's Gompertz y = A exp(-exp(mu e (lambda - t) / A + 1)), solved for t."""
    return LAG + A / (MU * np.e) * (1 - np.log(-np.log(drop / A)))


@pytest.mark.parametrize(("growth", "hour"), [("logistic", logistic_hour), ("gompertz", gompertz_hour)])
def test_traits_in_closed_form(growth, hour):
    values = ph(LOGGER, growth)  # without noise, so that the fit is the curve itself
    found = trace(LOGGER, values, "ph_direct", (growth,))
    table = acidification(found, LOGGER, after_h=[0.5, 6], to_ph=[5.0, 4.6])
    at_first = START - ph(0.25, growth)
    expected = {
        "ph_at_15_min": (START - at_first, "pH"),
        "t_a_min": (60 * hour(at_first + 0.08), "min"),
        "ph_after_0_5_h": (ph(0.5, growth), "pH"),
        "ph_after_6_h": (ph(6.0, growth), "pH"),
        "time_to_ph_5_0_h": (hour(START - 5.0), "h"),
        "time_to_ph_4_6_h": (hour(START - 4.6), "h"),
    }
    assert table["trait"].tolist() == list(expected)
    assert table["unit"].tolist() == [unit for _, unit in expected.values()]
    assert table["value"].tolist() == pytest.approx([value for value, _ in expected.values()], rel=1e-6)
    assert (table["se"] > 0.0).all()
    assert (table["why"] == "").all()
    assert not table["at_least"].any()


def test_the_inflection_and_the_lag_of_zwieterings_forms():
    """A / 2 is passed at lambda + A / (2 mu), A / e at lambda + A / (e mu); y(lambda) / A is .11920292, .06598804."""
    for growth, share, hour, at_lag in (
        ("logistic", 1 / 2, LAG + A / (2 * MU), 0.11920292),
        ("gompertz", 1 / np.e, LAG + A / (np.e * MU), 0.06598804),
    ):
        found = trace(LOGGER, ph(LOGGER, growth), "ph_direct", (growth,))
        assert time_to_ph(found, LOGGER, START - share * A).value == pytest.approx(hour, rel=1e-6)
        after_lag = by_trait(acidification(found, LOGGER, after_h=[LAG]))["value"]["ph_after_1_5_h"]
        assert after_lag == pytest.approx(START - at_lag * A, rel=1e-6)


@pytest.mark.parametrize("growth", list(GROWTH))
def test_standard_errors_are_the_delta_method(growth):
    """With one parameter alone uncertain by one unit, a trait's standard error is its derivative."""
    found = trace(LOGGER, read(LOGGER, growth), "ph_direct", (growth,))
    fits = found.choice.fits
    size = len(fits.parameters)

    def moved(by, spread):
        other = replace(fits, parameters=fits.parameters + by[:, None], spread=spread, unseen=np.zeros((size, size, 1)))
        return acidification(replace(found, choice=found.choice._replace(fits=other)), LOGGER, after_h=[6])

    for place in range(size):
        step = np.zeros(size)
        step[place] = 1e-5 * abs(fits.parameters[place, 0])
        unit = np.zeros((1, size, 1))
        unit[0, place] = 1.0
        more, less = (moved(by, unit)["value"] for by in (step, -step))
        slope = np.abs(more - less) / (2 * step[place])
        np.testing.assert_allclose(moved(0 * step, unit)["se"], slope, rtol=2e-5, atol=2e-5)


def test_standard_errors_against_a_parametric_bootstrap():
    """1500 copies of a fitted curve, read again with its own noise and fitted: their scatter is the standard error.

    The sd of 1500 numbers is known to 1 / sqrt(2 x 1500) = 1.8 %; linear theory is given 4 % beside three times that.
    """
    copies, rng = 1500, np.random.default_rng(2)
    found = trace(LOGGER, read(LOGGER), "ph_direct", ("gompertz",))
    expected = acidification(found, LOGGER, after_h=[6, 12])
    sd = found.rms_residual * np.sqrt(len(LOGGER) / (len(LOGGER) - 4))
    again = found.level(LOGGER) + rng.normal(0.0, sd, (copies, len(LOGGER)))
    table = acidification_of_shelf(
        shelf(**{f"{copy}": (LOGGER, again[copy]) for copy in range(copies)}), after_h=[6, 12], models=("gompertz",)
    )
    scatter = table.groupby("trait", sort=False)["value"].agg(["mean", "std", "count"])
    assert (scatter["count"] == copies).all()
    assert scatter["std"].tolist() == pytest.approx(expected["se"].tolist(), rel=0.04 + 3 * 0.018)
    off = (scatter["mean"].to_numpy() - expected["value"]) / expected["se"]
    assert (np.abs(off) < 0.15).all()


def test_coverage_where_the_form_is_to_be_found_out():
    """A logger every 10 min, noise 0.02; 95 % intervals of 400 falls of each form."""
    rng, falls = np.random.default_rng(3), 400
    for growth, hour in (("logistic", logistic_hour), ("gompertz", gompertz_hour)):
        values = ph(LOGGER, growth) + rng.normal(0.0, 0.02, (falls, len(LOGGER)))
        signals = shelf(**{f"{fall}": (LOGGER, values[fall]) for fall in range(falls)})
        table = acidification_of_shelf(signals, after_h=[6], to_ph=[4.6])
        truth = {
            "ph_at_15_min": ph(0.25, growth),
            "t_a_min": 60 * hour(START - ph(0.25, growth) + 0.08),
            "ph_after_6_h": ph(6, growth),
            "time_to_ph_4_6_h": hour(START - 4.6),
        }
        wide = stats.t.ppf(0.975, len(LOGGER) - 4)
        held = (table["value"] - table["trait"].map(truth)).abs() <= wide * table["se"]
        # choosing the form costs a little: 92 to 97 % but for 0.1 % of chance on either side
        least, most = stats.binom.ppf([0.001, 0.999], falls, [0.92, 0.97])
        assert held.groupby(table["trait"]).sum().between(least, most).all()


PLANS = {
    "full": (HOURLY, ph(HOURLY)),
    "scattered": (HOURLY, read(HOURLY, noise=0.04)),
    "began at once": (HOURLY, 6.0 - 2.0 * (1 - np.exp(-0.5 * HOURLY))),
    "not reached": (HOURLY[:4], ph(HOURLY[:4])),
    "sour at the first reading": (HOURLY[5:], ph(HOURLY[5:])),
    "sour when fed": (HOURLY, ph(HOURLY) - 1.5),
    "in a gap": (np.array([0.0, 1, 2, 3, 8, 9, 10]), np.array([5.9, 5.91, 5.9, 5.89, 4.0, 4.01, 4.0])),
    "in a last gap": (np.array([0.0, 1, 2, 3, 6, 8]), np.array([5.9, 5.91, 5.9, 5.89, 5.83, 4.2])),
    "idle": (HOURLY, read(HOURLY, noise=0.03) - ph(HOURLY) + 5.9),
    "idle and sour": (HOURLY, read(HOURLY, noise=0.03) - ph(HOURLY) + 4.0),
    "idle and sour, read late": (HOURLY[1:], read(HOURLY[1:], noise=0.03) - ph(HOURLY[1:]) + 4.0),
}


HARD = {
    "none to spare": (np.array([0.0, 3, 6, 12]), ph([0.0, 3, 6, 12])),
    "steepest beyond the end": (np.array([0.0, 1, 2, 3, 4, 5, 8]), np.array([5.91, 5.89, 5.89, 5.89, 5.88, 5.85, 4.4])),
}


@pytest.mark.parametrize(("hours", "values"), (PLANS | HARD).values(), ids=[*PLANS, *HARD])
def test_ph_4_6_is_passed_when_the_curves_table_says(hours, values):
    found = trace(hours, values, "ph_direct")
    ours, table = time_to_ph(found, hours, 4.6), found.traits["time_to_ph_4_6_h"]
    assert ours[:3] == pytest.approx(table[:3], nan_ok=True)
    if table.why:
        assert ours.why == table.why
    elif np.isnan(table.se):
        assert ours.why


def test_each_plan_is_what_it_is_called():
    it = {plan: time_to_ph(trace(*of, "ph_direct"), of[0], 4.6) for plan, of in PLANS.items()}
    assert {plan: found.why for plan, found in it.items() if found.why} == {
        "not reached": "pH 4.6 was not reached within the readings",
        "sour at the first reading": "pH was 4.6 or below already at the first reading",
        "sour when fed": "pH was 4.6 or below when fed",
        "in a gap": "nearly all of it happened between the readings at 3 and 8 h",
        "in a last gap": "nearly all of it happened between the readings at 6 and 8 h",
        "idle": "pH 4.6 was not reached within the readings",
        "idle and sour": "pH was 4.6 or below when fed",
        "idle and sour, read late": "pH was 4.6 or below already at the first reading",
    }
    assert it["sour when fed"].value == it["idle and sour"].value == 0.0
    assert (it["in a gap"].value, it["in a gap"].at_least) == (3.0, True)


def test_no_ph_is_extrapolated():
    hours = HOURLY[:9]  # until 8 h, while it still falls
    found = trace(hours, ph(hours), "ph_direct")
    lowest = found.level(hours[-1:])[0]
    assert time_to_ph(found, hours, lowest + 1e-3).value == pytest.approx(8.0, abs=0.02)
    assert np.isnan(time_to_ph(found, hours, lowest - 1e-3).value)
    table = told(hours, ph(hours), after_h=[8, 8.5])
    assert table["value"]["ph_after_8_h"] == pytest.approx(lowest)
    assert np.isnan(table["value"]["ph_after_8_5_h"])
    assert table["why"]["ph_after_8_5_h"] == "8.5 h lies beyond the last reading"


def test_without_a_reading_in_the_first_15_minutes_there_is_no_first_ph():
    late = LOGGER[2:]  # from 20 min on
    table = told(late, read(late), after_h=[0.3, 6])
    for trait in ("ph_at_15_min", "t_a_min"):
        assert np.isnan(table["value"][trait])
        assert table["why"][trait] == "15 min lies before the first reading"
    assert table["why"]["ph_after_0_3_h"] == "0.3 h lies before the first reading"
    assert table["se"]["ph_after_6_h"] > 0.0
    at_15 = np.append(0.25, late)
    assert (told(at_15, read(at_15))["se"][["ph_at_15_min", "t_a_min"]] > 0.0).all()


def test_only_a_continuous_record_tells_when_the_fall_began():
    """Continuous up to then: what is read once an hour afterwards does not matter."""
    assert told(HOURLY, ph(HOURLY))["why"]["t_a_min"] == (
        "no continuous record: readings up to it stand more than 12 min apart"
    )
    began = told(LOGGER, read(LOGGER))["value"]["t_a_min"] / 60
    for until, continuous in ((began + 0.2, True), (began - 0.2, False)):
        hours = np.append(LOGGER[until >= LOGGER], np.arange(np.ceil(began) + 1, 14.1))
        assert np.isfinite(told(hours, read(hours))["value"]["t_a_min"]) == continuous


def test_a_fall_of_less_than_0_08_has_not_begun():
    hours = LOGGER[:7]  # until 1 h, when some 0.04 are gone
    found = trace(LOGGER, ph(LOGGER), "ph_direct", ("gompertz",))
    short = replace(found, until_h=hours[-1], readings=len(hours))
    table = by_trait(acidification(short, hours))
    assert ph(0.25) - ph(hours[-1]) < 0.08
    assert table["why"]["t_a_min"] == "the pH did not fall 0.08 below that at 15 min within the readings"


def test_a_fall_between_two_readings_leaves_the_ph_there_unseen():
    table = told(*PLANS["in a gap"], after_h=[2, 5, 9], to_ph=[5.0])
    between = "nearly all of it happened between the readings at 3 and 8 h"
    assert np.isnan(table["value"]["ph_after_5_h"])
    assert table["why"]["ph_after_5_h"] == between
    assert table.loc["time_to_ph_5_0_h", ["value", "at_least", "why"]].tolist() == [3.0, True, between]
    # five of the readings around it agree to 0.01
    assert table["value"]["ph_after_2_h"] == pytest.approx(5.9, abs=0.02)
    assert table["value"]["ph_after_9_h"] == pytest.approx(4.0, abs=0.02)


@pytest.mark.parametrize(
    ("hours", "values", "why"),
    [
        (HOURLY[:3], ph(HOURLY[:3]), "no curve: too few readings"),
        (HOURLY, HOURLY * np.nan, "no curve: no readings"),
        (*PLANS["idle"], "no curve: no activity"),
    ],
)
def test_without_a_curve_every_row_says_so(hours, values, why):
    table = told(hours, values)
    assert table["value"].isna().all()
    assert table["se"].isna().all()
    assert (table["why"][["ph_at_15_min", "t_a_min", "ph_after_6_h"]] == why).all()
    assert (table["why"] != "").all()


def test_a_poor_fit_tells_nothing_unless_such_noise_is_usual():
    zigzag = ph(LOGGER) + 0.4 * (-1.0) ** np.arange(len(LOGGER))
    table = told(LOGGER, zigzag)
    assert table["value"].isna().all()
    assert table["why"].str.startswith("poor fit: the readings lie 0.4 pH off the curve, usual are 0.04 pH").all()
    assert told(LOGGER, zigzag, noise=0.4)["se"]["time_to_ph_4_6_h"] > 0.0
    refeed = shelf(r1=(LOGGER, zigzag))
    assert by_trait(acidification_of_shelf(refeed))["value"].isna().all()
    usual = by_trait(acidification_of_shelf(refeed, noise={"ph_direct": 0.4}))
    assert usual["value"]["time_to_ph_4_6_h"] == told(LOGGER, zigzag, noise=0.4)["value"]["time_to_ph_4_6_h"]


def test_a_search_that_did_not_come_to_rest_has_no_errors():
    found = trace(LOGGER, read(LOGGER), "ph_direct")
    fits = replace(found.choice.fits, settled=np.array([False]))
    table = acidification(replace(found, choice=found.choice._replace(fits=fits)), LOGGER, after_h=[6])
    assert table["value"].notna().all()
    assert table["se"].isna().all()
    assert (table["why"] == "without a standard error: the readings leave it open").all()


def test_an_hour_without_a_value_at_the_end_is_no_reading():
    hours, values = np.append(LOGGER, 30.0), np.append(read(LOGGER), np.nan)
    pd.testing.assert_frame_equal(told(hours, values), told(LOGGER, read(LOGGER)))


def test_a_reading_set_aside_is_no_reading():
    """The first was misread, so that nothing is known of the first quarter of an hour."""
    hours = np.append(0.0, HOURLY[1:])
    values = np.append(4.5, ph(HOURLY[1:]))
    found = trace(hours, values, "ph_direct")
    assert found.set_aside == ((0.0, 4.5),)
    alone = acidification(found, hours)
    assert alone["why"][0] == "15 min lies before the first reading"
    together = acidification_of_shelf(shelf(sound=(LOGGER, read(LOGGER)), misread=(hours, values)))
    pd.testing.assert_frame_equal(
        together[together["refeed"] == "misread"].drop(columns=["refeed", "kind"]).reset_index(drop=True), alone
    )


def test_a_shelf_is_read_as_each_refeed_alone():
    """Whatever the readings: 40 refeeds, some cut off, some idle, some hardly read; to the last bit."""
    rng, refeeds = np.random.default_rng(4), {}
    for number in range(40):
        hours = np.sort(rng.uniform(0.0, 24.0, rng.integers(2, 80)))
        fall = GROWTH["logistic"].value(hours, np.array([rng.choice([0.0, 2.0]) + 1e-9, 0.4, rng.uniform(0, 9)]))
        refeeds[f"r{number}"] = hours, rng.choice([4.7, 6.0]) - fall + rng.normal(0.0, 0.04, len(hours))
    together = acidification_of_shelf(shelf(**refeeds))
    missing = together["value"].isna() | together["se"].isna()
    assert (together.loc[missing, "why"] != "").all()
    assert (~missing).any()
    assert together["refeed"].unique().tolist() == list(refeeds)
    for name, (hours, values) in refeeds.items():
        of = together[together["refeed"] == name].drop(columns=["refeed", "kind"])
        alone = acidification(trace(hours, values, "ph_direct"), hours)
        pd.testing.assert_frame_equal(of.reset_index(drop=True), alone, check_exact=True)


def test_refeeds_without_a_ph_have_their_rows():
    signals = pd.concat(
        [
            shelf(later=(HOURLY, ph(HOURLY))).assign(signal="rise", kind="height_mm"),
            shelf(first=(HOURLY, ph(HOURLY)), unusable=(HOURLY, HOURLY * np.nan)).assign(kind="ph_slurry"),
        ]
    )
    table = acidification_of_shelf(signals, after_h=[6], to_ph=[4.6])
    assert table["refeed"].tolist() == [name for name in ("later", "first", "unusable") for _ in range(4)]
    assert table["kind"].unique().tolist() == ["", "ph_slurry"]
    never = table[table["refeed"] != "first"]
    assert (never["why"] == "no pH was read that can be used").all()
    assert never[["value", "se"]].isna().all(axis=None)
    assert table.dtypes.astype(str).tolist() == ["str", "str", "str", "float64", "str", "float64", "bool", "str"]
    assert acidification_of_shelf(signals.iloc[:0]).empty


def test_the_callers_table_is_left_alone():
    signals = shelf(r1=(HOURLY, ph(HOURLY)))
    before = signals.copy()
    acidification_of_shelf(signals)
    pd.testing.assert_frame_equal(signals, before)


def test_what_is_no_ph_or_not_its_hours_is_refused():
    rise = trace(HOURLY, 40.0 + 20.0 * (START - ph(HOURLY)), "height_mm")
    with pytest.raises(CannotRead, match="this is the trace of a rise"):
        time_to_ph(rise, HOURLY, 4.6)
    with pytest.raises(CannotRead, match="3 hours were given for a trace of 15 readings"):
        acidification(trace(HOURLY, ph(HOURLY), "ph_direct"), HOURLY[:3])
