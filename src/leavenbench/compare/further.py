"""Taking it further: tables with units in their heads, and a paragraph on methods that states what was done.

The paragraph is written from the tables themselves: how many refeeds, which curves, which adjustment, which versions.
What was not done is not in it.
"""

from __future__ import annotations

import platform
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import version

import pandas as pd

from ..columns import RESULTS
from ..errors import CannotRead
from ..records.collection import Collection
from .mixed import Comparison

#: Units that a table leaves to the signal or the trait that it is of.
_OPEN_UNITS = ("signal", "unit")
_PACKAGES = ("numpy", "scipy", "pandas")
_CITED = {
    "curves": "Zwietering et al. 1990, Appl Environ Microbiol 56:1875-1881, doi 10.1128/aem.56.6.1875-1881.1990",
    "cardinal": "Rosso et al. 1995, Appl Environ Microbiol 61:610-616, doi 10.1128/aem.61.2.610-616.1995",
    "band": "Montiel Olea & Plagborg-Moller 2019, J Appl Econometrics 34:1-17, doi 10.1002/jae.2656",
    "days": "Bell & McCaffrey 2002, Survey Methodology 28:169-181",
    "freedom": "Kenward & Roger 1997, Biometrics 53:983-997, doi 10.2307/2533558",
    "welch": "Welch 1951, Biometrika 38:330-336, doi 10.1093/biomet/38.3-4.330",
    "same": "Schuirmann 1987, J Pharmacokinet Biopharm 15:657-680, doi 10.1007/BF01068419",
    "profile": "Bates & Watts 1988, Nonlinear Regression Analysis and Its Applications, Wiley",
    "ward": "Ward 1963, J Am Stat Assoc 58:236-244",
    "gap": "Tibshirani et al. 2001, J R Stat Soc B 63:411-423, doi 10.1111/1467-9868.00293",
    "stability": "Hennig 2007, Comput Stat Data Anal 52:258-271, doi 10.1016/j.csda.2006.11.025",
    "coverage": "Chao & Jost 2012, Ecology 93:2533-2547, doi 10.1890/11-1952.1",
    "names": "Zheng et al. 2020, Int J Syst Evol Microbiol 70:2782-2858, doi 10.1099/ijsem.0.004107",
    "false": "Benjamini & Hochberg 1995, J R Stat Soc B 57:289-300",
}


def with_units(table: pd.DataFrame, name: str, unit: str = "") -> pd.DataFrame:
    """Return a table of the package with its units in square brackets in the head of each column.

    Parameters
    ----------
    table : pandas.DataFrame
        A table as the package made it; columns of others stay as they are.
    name : str
        Its name in ``columns.RESULTS``.
    unit : str
        The unit that the table leaves open: % for a rise, pH for acid, or that of the trait compared.

    Returns
    -------
    pandas.DataFrame

    Raises
    ------
    CannotRead
        There is no such table.

    Examples
    --------
    >>> made = pd.DataFrame({"culture": ["A"], "optimum_degC_low": [26.1], "optimal_rate": [31.0]})
    >>> list(with_units(made, "temperature_response", "%"))
    ['culture', 'optimum_low [degC]', 'optimal_rate [%/h]']
    """
    if name not in RESULTS:
        raise CannotRead(f"there is no table '{name}' among those that the package makes")
    heads = {}
    for column in RESULTS[name].columns:
        parts = column.unit.split("/")
        if parts[0] in _OPEN_UNITS:
            parts[0] = unit
        known = "/".join(parts) if parts[0] else ""
        spoken = {"%": "pct"}.get(column.unit, column.unit)
        bare = "_".join(part for part in column.name.split("_") if part != spoken) if column.unit else column.name
        heads[column.name] = f"{bare} [{known}]" if known else column.name
    return table.rename(columns=heads)


@dataclass(frozen=True)
class Paragraph:
    """What was done, in words, and the papers behind it."""

    text: str
    citations: tuple[str, ...]

    def __str__(self) -> str:
        return "\n".join((self.text, "", *self.citations))

    def _repr_markdown_(self) -> str:
        return "\n".join((self.text, "", *(f"- {one}" for one in self.citations)))


def methods_paragraph(
    collection: Collection,
    curves: pd.DataFrame,
    results: Mapping[str, pd.DataFrame] | None = None,
    comparisons: Sequence[Comparison] = (),
) -> Paragraph:
    """Write what was done, from what came of it.

    Parameters
    ----------
    collection : Collection
        The records.
    curves : pandas.DataFrame
        Its curves table, of the refeeds that were used.
    results : mapping of str to pandas.DataFrame, optional
        The tables made from them, by their names in ``columns.RESULTS``; those of `compare` have a sentence each.
    comparisons : sequence of Comparison, optional
        The mixed models behind means and pairs: what was random in them, and what was taken out.

    Returns
    -------
    Paragraph

    Raises
    ------
    CannotRead
        A table has no sentence.
    """
    results = {} if results is None else results
    unknown = sorted(set(results) - set(_SENTENCES))
    if unknown:
        raise CannotRead(f"no sentence for {', '.join(unknown)}; there is one for {', '.join(_SENTENCES)}")
    sentences = [_of_records(collection, curves), _of_curves(curves), _of_temperature(collection)]
    sentences += [_of_model(one) for one in comparisons]
    cited = ["curves", "cardinal", *(["freedom"] if comparisons else [])]
    for name, (write, papers) in _SENTENCES.items():
        if name in results and len(results[name]):
            sentences.append(write(results[name]))
            cited += [paper for paper in papers if not (paper == "same" and results[name]["margin"].isna().all())]
    sentences.append(_of_versions())
    return Paragraph(" ".join(sentences), tuple(dict.fromkeys(_CITED[paper] for paper in cited)))


def _of_records(collection: Collection, curves: pd.DataFrame) -> str:
    read = curves[curves["readings"] > 0]
    first, last = (pd.Timestamp(moment) for moment in (read["fed_at"].min(), read["fed_at"].max()))
    text = f"{_many(read['readings'].sum(), 'reading')} of {_many(read['refeed'].nunique(), 'refeed')} of "
    text += f"{_many(read['culture'].nunique(), 'culture')}, fed from {first:%Y-%m-%d} to {last:%Y-%m-%d}, were used"
    counts = collection.counts
    if len(counts):
        rows, values = (counts[name].sum() for name in ("rows_left_out", "values_left_out"))
        text += f"; {_many(rows, 'row')} and {_many(values, 'value')} of the records were left out as faulty"
    return text + "."


def _many(number: int, what: str) -> str:
    return f"{int(number):,} {what}{'' if number == 1 else 's'}"


def _of_curves(curves: pd.DataFrame) -> str:
    fitted = curves[curves["status"].isin(("fitted", "peak not reached", "poor fit")) & (curves["model"] != "")]
    models = ", ".join(f"{name} {count:,}" for name, count in fitted["model"].value_counts().items())
    others = curves.loc[~curves.index.isin(fitted.index), "status"].value_counts()
    text = f"Curves of rise or pH were fitted by least squares to {len(fitted):,} of {len(curves):,} signals ({models})"
    return text + (f"; of the others: {', '.join(f'{of} {n:,}' for of, n in others.items())}." if len(others) else ".")


def _of_temperature(collection: Collection) -> str:
    settings = collection.settings
    yeast, lactic = (
        "/".join(f"{degC:g}" for degC in of) for of in (settings.yeast_cardinal_degC, settings.lactic_cardinal_degC)
    )
    text = f"Traits are stated at {settings.reference_temperature_degC:g} degC by the cardinal temperature model "
    return text + f"(yeast {yeast} degC, lactic acid bacteria {lactic} degC)."


def _of_model(made: Comparison) -> str:
    text = f"{made.trait} by {made.by} was fitted by a linear mixed model"
    text += " to its logarithm" if made.scale == "log" else ""
    kept = made.variances[made.variances["left_out"] == ""]
    shown = "; ".join(f"{row.term} {row.sd:.3g}" for row in kept.itertuples())
    text += f" (REML; standard deviations of random terms: {shown}"
    left_out = made.variances[made.variances["left_out"] != ""]
    text += "".join(f"; {row.term} left out: {row.left_out}" for row in left_out.itertuples()) + ")"
    if made.taken_out:
        text += f", adjusted for {', '.join(made.taken_out)}"
    if made.carry_over:
        text += f"; of a round's deviation a share of {made.carry_over:.2f} was carried over to the culture's next"
    stated = "counted as stated" if made.as_stated else "counted in proportion, refeeds scattering less than they state"
    return text + f"; errors of single traits were {stated}."


def _of_pairs(made: pd.DataFrame) -> str:
    parts = []
    for (trait, by), own in made.groupby(["trait", "by"]):
        groups = pd.unique(own[["first", "second"]].to_numpy().ravel())
        adjusted = ", ".join(sorted(own["adjusted_by"].dropna().unique()))
        parts.append(f"{trait} of {len(groups)} groups by {by} ({len(own):,} differences; adjusted: {adjusted})")
    text = f"Compared by a mixed model (REML, Kenward-Roger degrees of freedom): {'; '.join(parts)}."
    margins = made.dropna(subset="margin").drop_duplicates(["margin", "unit"])
    if len(margins):
        within = ", ".join(f"{row.margin:g} {row.unit}".rstrip() for row in margins.fillna({"unit": ""}).itertuples())
        text += f" Equivalence was tested by two one-sided tests within {within}."
    return text


def _of_traits(made: pd.DataFrame) -> str:
    told = made[made["p"].notna()]
    if told.empty:
        return f"In no trait could it be tested whether anything differs by {made['by'].iloc[0]}."
    text = f"Whether anything differs by {made['by'].iloc[0]} was tested in {_many(len(told), 'trait')} "
    text += f"({'; '.join(told['trait'])}) by Kenward and Roger's F, p values adjusted by Benjamini and Hochberg"
    return text + (", beside Welch's test of one mean per witness." if told["p_plain"].notna().any() else ".")


def _of_means(made: pd.DataFrame) -> str:
    parts = [
        f"{trait} by {by} from {int(own['refeeds'].sum()):,} refeeds"
        for (trait, by), own in made.groupby(["trait", "by"])
    ]
    return f"Means with 95 % intervals were estimated by a mixed model (REML): {'; '.join(parts)}."


def _of_pooled(made: pd.DataFrame) -> str:
    own = made.drop_duplicates("culture")
    parts = [f"{row.culture} {_many(row.refeeds, 'refeed')} on {_many(row.days, 'day')}" for row in own.itertuples()]
    text = (
        f"Curves were pooled by culture ({'; '.join(parts)}), with simultaneous {made['level_pct'].iloc[0]:g} % bands "
    )
    return text + "from the variation between days."


def _of_difference(made: pd.DataFrame) -> str:
    own = made.drop_duplicates(["culture", "other"])
    parts = [
        f"{row.culture} and {row.other} ({row.refeeds} and {row.other_refeeds} refeeds, {row.days_shared} days shared)"
        for row in own.itertuples()
    ]
    text = f"Whole curves were compared with simultaneous {made['level_pct'].iloc[0]:g} % bands, days as clusters "
    return text + f"(studentised parametric bootstrap): {'; '.join(parts)}."


def _of_temperatures(made: pd.DataFrame) -> str:
    told = made[made["optimum_degC"].notna()]
    text = "Cardinal temperatures were fitted to the square roots of the steepest slopes of "
    text += (
        f"{_many(len(made), 'culture')} ({_many(made['refeeds'].sum(), 'refeed')}, {made['coldest_degC'].min():.0f} to "
    )
    text += f"{made['warmest_degC'].max():.0f} degC) with profile intervals; the optimum was reached in {len(told)}"
    return text + "."


def _of_feeds(made: pd.DataFrame) -> str:
    parts = [
        f"{fed} in {own['slope'].notna().sum()} of {_many(len(own), 'culture')}" for fed, own in made.groupby("fed")
    ]
    return f"The answer to the feed was told by least squares within steps: {', '.join(parts)}."


def _of_map(made: pd.DataFrame) -> str:
    groups = made["cluster"].nunique()
    text = f"{_many(len(made), 'culture')} ({_many(made['refeeds'].sum(), 'refeed')}) were mapped by weighted "
    text += (
        "principal components of standardised traits; groups by Ward's criterion, their number by the gap statistic "
    )
    found = f"({groups} groups" if groups > 1 else "(no groups"
    return text + f"{found}), stability by drawing rounds again (Jaccard index)."


def _of_diversity(made: pd.DataFrame) -> str:
    own = made[made["culture"].notna()]
    text = f"Hill numbers were computed from {int(own['colonies'].sum()):,} colonies of {_many(len(own), 'culture')}"
    common = own["common_coverage"].dropna()
    if len(common):
        text += f" and compared at a coverage of {common.iloc[0]:.2f}"
    return text + ", synonyms folded."


def _of_organisms(made: pd.DataFrame) -> str:
    tested = int(made["p"].notna().sum())
    text = f"{tested} of {len(made)} organisms were held against activity by Welch's test, one number per culture"
    return text + ", p values adjusted by Benjamini and Hochberg."


def _of_versions() -> str:
    used = ", ".join(f"{name} {version(name)}" for name in _PACKAGES)
    return f"Computed with leavenbench {version('leavenbench')} (Python {platform.python_version()}, {used})."


#: What is said of each table, and the papers behind it, in the order of the paragraph.
_SENTENCES: dict[str, tuple[Callable[[pd.DataFrame], str], tuple[str, ...]]] = {
    "compared_means": (_of_means, ("freedom",)),
    "compared_pairs": (_of_pairs, ("freedom", "same")),
    "traits_compared": (_of_traits, ("freedom", "false", "welch")),
    "pooled_curve": (_of_pooled, ("days", "band")),
    "curve_difference": (_of_difference, ("days", "band")),
    "temperature_response": (_of_temperatures, ("profile",)),
    "feed_response": (_of_feeds, ()),
    "culture_map": (_of_map, ("ward", "gap", "stability")),
    "diversity": (_of_diversity, ("coverage", "names")),
    "organism_activity": (_of_organisms, ("false", "names")),
}
