"""Taking it further: heads with units, and a methods paragraph that says what was done and nothing else."""

from __future__ import annotations

import platform
from importlib.metadata import version

import numpy as np
import pandas as pd
import pytest

from leavenbench.columns import RESULTS
from leavenbench.compare.further import methods_paragraph, with_units
from leavenbench.compare.mixed import compared
from leavenbench.errors import CannotRead


@pytest.fixture
def done(make_collection, make_curves):
    collection = make_collection()
    curves = make_curves(
        {
            "refeed": ["a", "a", "b", "c"],
            "culture": ["A", "A", "B", "B"],
            "fed_at": pd.to_datetime(
                ["2025-01-02 08:00Z", "2025-01-02 08:00Z", "2025-03-04 08:00Z", "2025-05-06 08:00Z"]
            ),
            "signal": ["rise", "acid", "rise", "rise"],
            "model": ["logistic", "gompertz", "logistic", ""],
            "status": ["fitted", "fitted", "peak not reached", "no readings"],
            "readings": [8, 5, 7, 0],
        }
    )
    return collection, curves


def made(name: str, given: dict) -> pd.DataFrame:
    return pd.DataFrame(given, columns=RESULTS[name].names).astype(RESULTS[name].dtypes())


@pytest.mark.parametrize("name", sorted(RESULTS))
def test_every_table_has_one_head_for_each_column(name):
    heads = list(with_units(made(name, {}), name, "%"))
    assert len(set(heads)) == len(RESULTS[name].names)
    for head, column in zip(heads, RESULTS[name].columns, strict=True):
        assert ("[" in head) == bool(column.unit)


def test_open_units_are_closed():
    heads = list(with_units(made("curve_difference", {}), "curve_difference", "pH"))
    assert heads[2:6] == ["elapsed [h]", "difference [pH]", "low [pH]", "high [pH]"]
    assert "max_rate [%/h]" in list(with_units(made("curves", {}), "curves", "%"))
    assert "difference" in list(with_units(made("curve_difference", {}), "curve_difference"))


def test_a_table_that_is_none_is_refused():
    with pytest.raises(CannotRead, match="no table 'somewhere'"):
        with_units(pd.DataFrame(), "somewhere")


def test_the_paragraph_counts_what_was_used(done):
    told = methods_paragraph(*done)
    assert "20 readings of 2 refeeds of 2 cultures, fed from 2025-01-02 to 2025-03-04, were used." in told.text
    assert (
        "fitted by least squares to 3 of 4 signals (logistic 2, gompertz 1); of the others: no readings 1." in told.text
    )
    assert "stated at 25 degC" in told.text
    assert (
        f"leavenbench {version('leavenbench')} (Python {platform.python_version()}, numpy {np.__version__}" in told.text
    )
    assert len(told.citations) == 2


def test_what_was_not_done_is_not_in_it(done):
    text = methods_paragraph(*done).text
    for word in ("mixed model", "bands", "Ward", "Hill", "Welch", "profile"):
        assert word not in text


def test_what_was_done_is_in_it_with_its_numbers(done):
    difference = made("curve_difference", {"culture": ["A"] * 2, "other": ["B"] * 2, "elapsed_h": [0.0, 1.0]})
    difference = difference.assign(level_pct=95.0, refeeds=7, other_refeeds=9, days_shared=4)
    pairs = made(
        "compared_pairs", {"trait": "rise max_rate", "by": "culture", "first": ["A", "A"], "second": ["B", "C"]}
    )
    pairs = pairs.assign(adjusted_by="Holm")
    told = methods_paragraph(*done, {"curve_difference": difference, "compared_pairs": pairs})
    assert "simultaneous 95 % bands" in told.text
    assert "A and B (7 and 9 refeeds, 4 days shared)" in told.text
    assert "rise max_rate of 3 groups by culture (2 differences; adjusted: Holm)" in told.text
    assert "one-sided" not in told.text
    assert not any("Schuirmann" in one for one in told.citations)
    same = methods_paragraph(*done, {"compared_pairs": pairs.assign(margin=15.0)})
    assert "two one-sided tests within 15" in same.text
    assert any("Schuirmann" in one for one in same.citations)


def test_the_model_is_told_as_it_was_fitted(done):
    rows = {"culture": list("AAAABBBB"), "round": [1, 1, 2, 2] * 2, "day": list("abcdefgh"), "vessel": None}
    observed = pd.DataFrame({**rows, "step": [1, 2] * 4, "value": [2.0, 2.4, 2.1, 2.5, 3.0, 3.3, 3.2, 3.6]})
    fitted = compared(observed.assign(refeed=range(8), se=0.05, trait="rise max_rate", unit="%/h", scale="log"))
    text = methods_paragraph(*done, comparisons=[fitted]).text
    sd = fitted.variances.set_index("term")["sd"]
    assert f"random terms: refeed {sd['refeed']:.3g}; round {sd['round']:.3g}" in text
    assert "day left out: no level has two refeeds; jar left out: not noted" in text
    assert "adjusted for step 2" in text


def test_traits_that_could_not_be_tested_are_not_said_to_be(done):
    none = made("traits_compared", {"trait": ["rise extent"], "by": ["culture"], "words": ["too few"]})
    assert "In no trait could it be tested" in methods_paragraph(*done, {"traits_compared": none}).text


def test_other_results_have_their_sentence(done):
    temperature = made("temperature_response", {"culture": ["A", "B"], "refeeds": [9, 12], "coldest_degC": [8.0, 10.0]})
    temperature = temperature.assign(warmest_degC=[30.0, 34.0], optimum_degC=[np.nan, 28.0])
    places = made("culture_map", {"culture": list("ABCD"), "cluster": [1, 1, 2, 2], "refeeds": 10})
    kinds = made("diversity", {"culture": ["A", None], "colonies": [24, 24], "common_coverage": 0.95})
    organisms = made("organism_activity", {"organism": ["x", "y"], "p": [0.2, np.nan]})
    fed = made("feed_response", {"culture": ["A", "A"], "fed": ["doublings", "hydration"], "slope": [0.1, np.nan]})
    pooled = made("pooled_curve", {"culture": ["A"], "level_pct": 95.0, "refeeds": 8, "days": 6})
    means = made("compared_means", {"trait": ["acid extent"], "by": "flour", "refeeds": 31})
    results = {"temperature_response": temperature, "culture_map": places, "diversity": kinds, "feed_response": fed}
    text = methods_paragraph(
        *done, results | {"organism_activity": organisms, "pooled_curve": pooled, "compared_means": means}
    ).text
    assert "2 cultures (21 refeeds, 8 to 34 degC) with profile intervals; the optimum was reached in 1." in text
    assert "4 cultures (40 refeeds) were mapped" in text
    assert "(2 groups)" in text
    assert "24 colonies of 1 culture and compared at a coverage of 0.95" in text
    assert "1 of 2 organisms" in text
    assert "doublings in 1 of 1 culture, hydration in 0 of 1 culture" in text
    assert "A 8 refeeds on 6 days" in text
    assert "acid extent by flour from 31 refeeds" in text


def test_a_table_without_a_sentence_is_refused(done):
    with pytest.raises(CannotRead, match="no sentence for watch_list"):
        methods_paragraph(*done, {"watch_list": pd.DataFrame()})
