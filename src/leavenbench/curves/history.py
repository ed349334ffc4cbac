"""What the earlier refeeds of a culture let expect of the next one at the same step.

A culture repeats itself: at the same step its extent, its steepest slope and its lag differ from refeed to refeed
by a tenth or so. With few refeeds of its own a culture leans on what is usual on its shelf (empirical Bayes).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from .composed import WITH_COLLAPSE
from .engine import noise
from .expected import EXPECTED, Expected
from .follow import Read, Usual, follow
from .models import Array
from .noise import INSTRUMENTS, fitted_with, noise_by_kind

#: Own refeeds from which a culture has a history; common practice, no source.
_FEWEST = 2
#: Standard error of a lag that is zero, since it began at once [h].
_AT_ONCE_H = 0.2
_FORMS = {"logistic": -1.0, "gompertz": 1.0}
#: Refeeds whose trait is less sure than this (log, log, [h]) say nothing of the next.
_UNSURE = np.array([0.5, 0.5, 2.0])
_LOGARITHMIC = np.array([True, True, False])
_TRACED = ("fitted", "peak not reached")

#: Names of what is expected, and of its standard deviation, in the prior table.
EXPECTATIONS = tuple(f"log_{trait}" if log else trait for trait, log in zip(EXPECTED, _LOGARITHMIC, strict=True))


def history_prior(curves: pd.DataFrame) -> pd.DataFrame:
    """Say of each refeed what the culture's earlier refeeds at the same step let expect.

    Parameters
    ----------
    curves : pandas.DataFrame
        Curves that each refeed's own readings speak for, up to the day of which one wants to know: as `trace_shelf`
        makes them without a prior, with ``culture``, ``fed_at`` and ``step`` of the log. A column ``history``, if
        there is one, tells apart the times before and after a loss.

    Returns
    -------
    pandas.DataFrame
        One row per refeed and signal with two earlier refeeds or more: refeed, signal, refeeds (how many), then
        log_extent, log_max_rate, lag_h, each with ``_sd``: mean and standard deviation of what is expected (natural
        logarithms of % and %/h, or pH and pH/h), and gompertz, the probability of that form against the logistic
        one. Only refeeds fed before it count; what is usual on the shelf, the
        scatter among refeeds and among cultures, comes from all curves given.

    Examples
    --------
    >>> fed = pd.date_range("2025-01-06", periods=4, freq="60D", tz="UTC")
    >>> same = {"culture": "Ida", "step": 3, "signal": "rise", "status": "fitted", "lower_bounds": ""}
    >>> traits = {"extent": 90.0, "extent_se": 3.0, "max_rate": 30.0, "max_rate_se": 2.0, "lag_h": 2.0, "lag_h_se": 0.2}
    >>> curves = pd.DataFrame({"refeed": list("abcd"), "fed_at": fed}).assign(**same, **traits)
    >>> history_prior(curves)[["refeed", "refeeds", "log_extent", "log_extent_sd"]].round(2)
      refeed  refeeds  log_extent  log_extent_sd
    0      c        2         4.5           0.13
    1      d        3         4.5           0.11
    """
    log = curves.reindex(columns=pd.Index(["culture", "fed_at"]).union(curves.columns, sort=False))
    log = log[log["fed_at"].notna() & log["culture"].notna()]
    log = log.sort_values(["fed_at", "refeed"], kind="stable").reset_index(drop=True)
    if log.empty:
        none = np.zeros((3, 0))
        return _table(log, np.zeros(0, bool), np.zeros(0, int), none, none, np.zeros(0))
    series = _numbered(log, ["culture", "history", "signal", "step", "way"])
    shelf = _numbered(log, ["signal", "step", "way"])
    read = _read(log)
    usual = Usual.of(read, series, shelf)
    followed = follow(read, series, usual.of_rows(shelf))
    # of refeeds fed at the same moment none came before the others
    before = pd.Series(np.arange(len(log))).groupby([series, log["fed_at"]]).transform("first").to_numpy()
    refeeds, mean, sd, form = (it[..., before] for it in followed)
    return _table(log, refeeds >= _FEWEST, refeeds, mean, sd, form)


def expected_of(prior: pd.DataFrame, signals: pd.DataFrame) -> tuple[Expected, Array]:
    """Return what a prior table lets expect of some signals, and from how many refeeds; NaN where it says nothing.

    Parameters
    ----------
    prior : pandas.DataFrame
        As `history_prior` makes it.
    signals : pandas.DataFrame
        refeed, signal and kind, one row each.
    """
    known = prior.drop_duplicates(["refeed", "signal"]).astype({"refeed": "str", "signal": "str"})
    known = signals[["refeed", "signal"]].astype("str").merge(known, how="left", on=["refeed", "signal"])
    mean, sd = (
        np.array([known[f"{name}{of}"].to_numpy(dtype=float, na_value=np.nan) for name in EXPECTATIONS])
        for of in ("", "_sd")
    )
    in_percent = np.array([INSTRUMENTS[kind].sign > 0.0 for kind in signals["kind"]], bool)
    mean[:2, in_percent] -= np.log(100.0)
    form = known["gompertz"].fillna(0.5).to_numpy(dtype=float) if "gompertz" in known else np.full(len(signals), 0.5)
    refeeds = known["refeeds"].fillna(0).to_numpy(dtype=int) if "refeeds" in known else np.zeros(len(signals), int)
    return Expected(mean, sd, np.zeros_like(mean), form), refeeds


def one_expected(prior: Mapping[str, float] | None, signals: pd.DataFrame) -> tuple[Expected, Array] | None:
    """Return what one row of a prior table lets expect of the only signal."""
    if prior is None:
        return None
    of_signal = {name: signals[name].iloc[0] if len(signals) else "" for name in ("refeed", "signal")}
    return expected_of(pd.DataFrame([dict(prior) | of_signal]), signals)


def _table(log: pd.DataFrame, known: Array, refeeds: Array, mean: Array, sd: Array, gompertz: Array) -> pd.DataFrame:
    found: dict[str, Array | pd.Series] = {
        "refeed": log["refeed"].astype("str"),
        "signal": log["signal"].astype("str"),
        "refeeds": refeeds,
    }
    for place, name in enumerate(EXPECTATIONS):
        found |= {name: mean[place], f"{name}_sd": sd[place]}
    found["gompertz"] = gompertz
    return pd.DataFrame(found)[known].reset_index(drop=True)


def _numbered(log: pd.DataFrame, by: list[str]) -> Array:
    """Give rows at the same place the same number; a column that is not there tells nothing apart."""
    place = log.reindex(columns=[name for name in by if name != "way"])
    if "kind" in log:  # a pH in the dough and one in a slurry differ
        place["way"] = log["kind"].where(log["signal"] == "acid")
    number = place.astype(object).where(place.notna(), "").groupby(list(place.columns), sort=False).ngroup()
    return number.to_numpy()


def _read(log: pd.DataFrame) -> Read:
    number, bounds = pd.factorize(log["lower_bounds"].fillna(""))
    sound = log["status"].isin(_TRACED).to_numpy()
    filled = _noise_filled(log)
    value, error = np.full((3, len(log)), np.nan), np.full((3, len(log)), np.nan)
    for place, name in enumerate(EXPECTED):
        told, se = (log[of].to_numpy(dtype=float, na_value=np.nan) for of in (name, f"{name}_se"))
        usable = sound & np.isfinite(told) & ~np.array([name in of.split(", ") for of in bounds], bool)[number]
        if _LOGARITHMIC[place]:
            usable &= told > 0.0
            told = np.where(usable, told, 1.0)
            value[place], error[place] = np.log(told), se / told
        else:
            value[place], error[place] = told, np.where((told == 0.0) & np.isnan(se), _AT_ONCE_H, se)
        error[place] *= filled
        usable &= error[place] < _UNSURE[place]
        value[place, ~usable] = error[place, ~usable] = np.nan
    growth = log["model"].str.removesuffix(WITH_COLLAPSE) if "model" in log else pd.Series("", index=log.index)
    return Read(value, error**2, growth.map(_FORMS).fillna(0.0).to_numpy() * sound)


def _noise_filled(log: pd.DataFrame) -> Array:
    """Return by what errors grow where few readings to spare are filled up with the noise of their kind."""
    if not {"kind", "model", "readings", "rms_residual"} <= set(log.columns):
        return np.ones(len(log))
    usual = log["kind"].map(noise_by_kind(log)).to_numpy(dtype=float)
    readings = log["readings"].to_numpy(dtype=float, na_value=np.nan)
    spare = readings - fitted_with(log["model"])
    rss = log["rms_residual"].to_numpy(dtype=float, na_value=np.nan) ** 2 * readings
    with np.errstate(all="ignore"):
        factor = noise(rss, spare, usual) / noise(rss, spare, None)
    return np.where(np.isfinite(factor), factor, 1.0)
