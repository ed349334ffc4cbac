"""A whole simulated collection: well-formed tables, the calendar obeyed, noise of the sizes asked for."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from leavenbench.columns import TABLES
from leavenbench.simulate import Noise, Story, simulate_cast, simulate_shelf
from leavenbench.simulate.activity import true_ph, true_rise
from leavenbench.simulate.cast import nameless_cast

HOUR = pd.Timedelta(hours=1)


@pytest.fixture(scope="module")
def shelf():
    return simulate_shelf(seed=3, cultures=60, years=4)


@pytest.fixture(scope="module")
def read_by_hand(shelf):
    """Readings by hand, each with the refeed it belongs to and the truth of that refeed."""
    readings = shelf.tables["readings"].dropna(subset="refeed").drop(columns=["vessel", "temperature"])
    noted = shelf.tables["refeeds"][["refeed", "person", "cooled_at", "vessel"]]
    truth = shelf.truth["refeeds"]
    joined = readings.merge(noted, on="refeed", validate="many_to_one").merge(truth, on="refeed")
    return joined.rename(columns={"elapsed": "elapsed_h"})


def same(one, other):
    assert one.keys() == other.keys()
    for name in one:
        pd.testing.assert_frame_equal(one[name], other[name])


def test_the_same_seed_gives_the_same_and_another_seed_another():
    first, again, other = (simulate_shelf(seed, cultures=6, years=1) for seed in (1, 1, 2))
    same(first.tables, again.tables)
    same(first.truth, again.truth)
    assert not first.tables["readings"].equals(other.tables["readings"])
    assert not first.truth["rounds"]["log_vigour"].equals(other.truth["rounds"]["log_vigour"])


def test_what_blurs_the_readings_leaves_the_truth_alone():
    clear = Noise(ruler_sd_mm=0.0, misread=0.0)
    usual, sharp = (simulate_shelf(1, cultures=6, years=1, noise=noise) for noise in (None, clear))
    pd.testing.assert_frame_equal(usual.truth["rounds"], sharp.truth["rounds"])
    pd.testing.assert_frame_equal(usual.truth["days"], sharp.truth["days"])
    assert len(sharp.truth["misread"]) == 0 < len(usual.truth["misread"])


def test_tables_hold_declared_columns_unique_keys_allowed_words_and_possible_values(shelf):
    for name, table in shelf.tables.items():
        declared = TABLES[name]
        assert set(table.columns) <= set(declared.by_name)
        if declared.key:
            assert table[declared.key].is_unique
        for column in table:
            rule, values = declared.by_name[column], table[column].dropna()
            if rule.kind == "choice":
                assert set(values) <= set(rule.choices)
            if rule.kind == "yes_no":
                assert set(values) <= {"yes", "no"}
            if rule.kind in ("number", "whole"):
                assert values.between(*rule.possible).all()
            if rule.needed:
                assert table[column].notna().all()
            if rule.refers_to in shelf.tables:
                assert set(values) <= set(shelf.tables[rule.refers_to][TABLES[rule.refers_to].key])


def test_jars_are_looked_at_six_to_ten_times_a_day_and_once_or_twice_next_morning(shelf, read_by_hand):
    logged = read_by_hand["refeed"].isin(shelf.truth["logged"]["refeed"])  # there only the pH is read by hand
    whole = read_by_hand.loc[read_by_hand["cooled_at"].isna() & ~logged]
    morning = whole["elapsed_h"] > 10.0
    assert whole.loc[morning, "elapsed_h"].between(20.0, 24.0).all()
    assert set(whole.loc[~morning].groupby("refeed").size()) == {6, 7, 8, 9, 10}
    assert set(whole.loc[morning].groupby("refeed").size()) == {1, 2}
    hours = (whole["read_at"] - whole["fed_at"]) / HOUR
    assert hours.to_numpy() == pytest.approx(whole["elapsed_h"].to_numpy())


def test_nothing_is_read_after_the_next_feeding_or_in_the_cold(shelf, read_by_hand):
    fed = shelf.truth["refeeds"].sort_values("fed_at")
    ends = fed.assign(ends=fed.groupby("culture")["fed_at"].shift(-1)).set_index("refeed")["ends"]
    next_feed = read_by_hand["refeed"].map(ends)
    assert (next_feed.isna() | (read_by_hand["read_at"] < next_feed)).all()
    assert (read_by_hand["cooled_at"].isna() | (read_by_hand["read_at"] <= read_by_hand["cooled_at"])).all()


def test_the_logger_stands_on_one_jar_a_day_within_its_refeed(shelf):
    logged = shelf.truth["logged"]
    assert len(logged) == 12
    assert logged["fed_at"].dt.date.is_unique
    readings = shelf.tables["readings"]
    by_logger = readings.loc[readings["refeed"].isna()]
    refeeds = shelf.tables["refeeds"].set_index("refeed")
    for row in logged.itertuples():
        own = by_logger.loc[by_logger["vessel"] == row.vessel, "read_at"]
        own = own.loc[own.between(row.fed_at, row.fed_at + 24 * HOUR)]
        assert own.diff().dropna().eq(HOUR / 4).all()
        assert len(own) > 35
        cooled = refeeds.at[row.refeed, "cooled_at"]
        assert pd.isna(cooled) or own.max() < cooled
        assert readings.loc[readings["refeed"] == row.refeed, "height"].isna().all()  # nobody used the ruler


def test_steps_go_on_until_the_jar_passes_and_no_further(shelf):
    made = shelf.truth["refeeds"].groupby(["culture", "round"])["step"]
    assert set(made.max()) <= {3, 4, 5}
    assert made.min().eq(1).all()
    assert (made.max() == made.size()).all()
    refeeds = shelf.tables["refeeds"].merge(shelf.truth["refeeds"][["refeed", "round"]], on="refeed")
    assert refeeds.loc[refeeds["step"] < 3, "passed"].isna().all()
    last = refeeds["step"] == refeeds.set_index(["culture", "round"]).index.map(made.max())
    judged = refeeds["step"] >= 3
    assert (refeeds.loc[judged & ~last, "passed"] == "no").all()
    assert (refeeds.loc[last & (refeeds["step"] < 5), "passed"] == "yes").all()
    assert (refeeds["cooled_at"].notna() == last).all()
    assert (refeeds.loc[judged & ~last]).shape[0] > 0  # there were extra steps


def test_slips_go_missing_at_the_share_asked_for(shelf):
    written = shelf.truth["refeeds"]["written"]
    assert written.mean() == pytest.approx(0.97, abs=4.0 * np.sqrt(0.03 * 0.97 / len(written)))
    assert shelf.tables["refeeds"]["refeed"].tolist() == shelf.truth["refeeds"]["refeed"][written].tolist()


def test_true_vigour_varies_as_much_as_was_asked(shelf):
    rounds = shelf.truth["rounds"].pivot(index="culture", columns="round", values="log_wander")
    sd = shelf.truth["cultures"].set_index("culture")["round_sd"].reindex(rounds.index)
    assert sd.between(0.05, 0.12).all()
    fresh = rounds.iloc[:, 1:].to_numpy() - 0.3 * rounds.iloc[:, :-1].to_numpy()
    unit = fresh / (sd.to_numpy()[:, None] * np.sqrt(1.0 - 0.3**2))  # AR(1): innovation sd = sd sqrt(1 - phi^2)
    assert unit.std() == pytest.approx(1.0, abs=4.0 / np.sqrt(2.0 * unit.size))


@pytest.mark.parametrize(("table", "effect", "sd"), [("days", "log_day", 0.05), ("lots", "log_lot", 0.04)])
def test_shared_effects_are_of_the_size_asked_for(table, effect, sd):
    pooled = pd.concat([simulate_shelf(seed, 4, 5).truth[table][effect] for seed in range(8)])
    assert pooled.std() == pytest.approx(sd, abs=4.0 * sd / np.sqrt(2.0 * len(pooled)))


def test_the_room_follows_the_season_within_its_limits(shelf):
    days = shelf.truth["days"]
    assert days["room_temperature_degC"].between(18.0, 27.0).all()
    month = days["day"].dt.month
    summer, winter = (days.loc[month.isin(part), "room_temperature_degC"] for part in ([6, 7, 8], [12, 1, 2]))
    assert summer.mean() - winter.mean() == pytest.approx(2 * 2.5 * 3 / np.pi, abs=1.0)  # mean of a cosine's cap


def test_ruler_and_ph_meter_are_as_good_as_was_asked(shelf, read_by_hand):
    wrong = shelf.truth["misread"].set_index(["refeed", "elapsed_h", "column"]).index
    keys = pd.MultiIndex.from_frame(read_by_hand[["refeed", "elapsed_h"]].assign(column="height"))
    true_mm = read_by_hand["true_start_mm"] * (1.0 + true_rise(read_by_hand) / 100.0)
    off_mm = (read_by_hand["height"] - true_mm).loc[~keys.isin(wrong)].dropna()
    expected = np.sqrt(1.5**2 + 1.0 / 12.0)  # rounded to the millimetre: a uniform error on top
    assert off_mm.std() == pytest.approx(expected, abs=4.0 * expected / np.sqrt(2.0 * len(off_mm)))
    assert off_mm.mean() == pytest.approx(0.0, abs=4.0 * expected / np.sqrt(len(off_mm)))

    keys = pd.MultiIndex.from_frame(read_by_hand[["refeed", "elapsed_h"]].assign(column="ph"))
    off_ph = (read_by_hand["ph"] - true_ph(read_by_hand)).loc[~keys.isin(wrong)]
    for person, resolution in (("first keeper", 0.01), ("second keeper", 0.05)):
        own = off_ph.loc[read_by_hand["person"] == person].dropna()
        expected = np.sqrt(0.04**2 + resolution**2 / 12.0)
        assert own.std() == pytest.approx(expected, abs=4.0 * expected / np.sqrt(2.0 * len(own)))


def test_misreadings_are_few_and_named(shelf, read_by_hand):
    misread = shelf.truth["misread"]
    for column in ("height", "ph"):
        named, read = (misread["column"] == column).sum(), read_by_hand[column].notna().sum()
        assert named / read == pytest.approx(0.005, abs=4.0 * np.sqrt(0.005 / read))
    assert set(misread.loc[misread["column"] == "height", "by"]) == {-20.0, -10.0, 10.0, 20.0}
    assert set(misread.loc[misread["column"] == "ph", "by"]) == {-0.5, 0.5}


def test_a_dough_sours_within_a_day_to_where_mature_sourdough_lies(read_by_hand):
    # About pH 3.5 to 4.5 (published ranges disagree: 3.5-4.0 and 3.8-4.5).
    well = read_by_hand.loc[(read_by_hand["log_vigour"] > -0.5) & (read_by_hand["step"] >= 3)]
    start = well.loc[well["elapsed_h"] == 0.0, "ph"].median()
    next_day = well.loc[well["elapsed_h"] > 20.0, "ph"]
    assert 5.8 <= start <= 6.2
    assert next_day.quantile(0.05) > 3.4
    assert next_day.quantile(0.95) < 4.3


def told(kind, **more):
    cast = nameless_cast(6, 12, np.random.default_rng(1))
    cast = replace(cast, stories={"C001": Story(kind, onset=5, **more)})
    return simulate_cast(4, cast, years=2, noise=Noise(rounds_missing=0.0, refeeds_missing=0.0))


def test_a_dead_culture_neither_rises_nor_sours_and_is_entered_as_lost():
    shelf = told("death")
    (event,) = shelf.tables["events"].to_dict("records")
    assert (event["culture"], event["kind"]) == ("C001", "lost")
    own = shelf.truth["refeeds"].query("culture == 'C001'")
    assert own["round"].max() == 5
    assert own.loc[own["round"] == 5, "step"].tolist() == [1, 2, 3, 4, 5]
    waited = (event["happened_on"] - own["fed_at"].max().normalize()).days
    assert 12 <= waited <= 25
    dead = shelf.tables["readings"].merge(own.loc[own["round"] == 5, ["refeed", "true_start_mm"]], on="refeed")
    # The readings of a flat line: ruler sd 1.5 mm, misread at most 20 mm, and pH as mixed.
    assert (dead["height"] - dead["true_start_mm"]).median() == pytest.approx(0.0, abs=1.0)
    assert dead["ph"].median() > 5.7
    others = shelf.truth["refeeds"].query("culture == 'C003'")
    assert others["round"].max() == 12


def test_a_dead_culture_that_nobody_notices_stays_on_the_shelf():
    shelf = told("death", noticed=False)
    assert shelf.tables["events"].empty
    own = shelf.tables["refeeds"].query("culture == 'C001'")
    assert own["fed_at"].max() > pd.Timestamp("2023-10-01")
    assert (own.loc[own["fed_at"] > "2022-10-01", "passed"].dropna() == "no").all()


def test_on_rice_a_jar_only_sours():
    cast = nameless_cast(4, 6, np.random.default_rng(1))
    cast.cultures["leading_signal"] = "acid"
    cast = replace(cast, flours=cast.flours.assign(grain="rice"), stories={})
    shelf = simulate_cast(2, cast, years=1)
    truth = shelf.truth["refeeds"]
    assert truth["rise_extent"].max() < 10.0
    assert truth["acid_extent"].min() > 1.5
    assert shelf.tables["cultures"]["pass_rise"].isna().all()
    assert (shelf.tables["refeeds"].query("step == 3")["passed"] == "yes").all()
