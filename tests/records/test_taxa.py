"""Old and new names of one species."""

from __future__ import annotations

import pytest

from leavenbench.records.taxa import accepted_name


@pytest.mark.parametrize(
    ("written", "accepted"),
    [  # Zheng et al. 2020 for the lactobacilli; yeasts as cited in the module; all from memory
        ("Lactobacillus sanfranciscensis", "Fructilactobacillus sanfranciscensis"),
        ("L. sanfranciscensis TMW 1.1304", "Fructilactobacillus sanfranciscensis"),
        ("Lb. brevis", "Levilactobacillus brevis"),
        ("L. rossiae", "Furfurilactobacillus rossiae"),
        ("F. sanfranciscensis", "Fructilactobacillus sanfranciscensis"),
        ("Leuconostoc plantarum", "Leuconostoc plantarum"),  # an epithet alone moves nobody
        ("lactobacillus_reuteri", "Limosilactobacillus reuteri"),
        ("Fructilactobacillus sanfranciscensis", "Fructilactobacillus sanfranciscensis"),
        ("Lactobacillus delbrueckii subsp. bulgaricus", "Lactobacillus delbrueckii"),
        ("Candida milleri", "Kazachstania humilis"),
        ("Pichia anomala", "Wickerhamomyces anomalus"),
        ("Saccharomyces exiguus", "Kazachstania exigua"),
        ("Saccharomyces cerevisiae", "Saccharomyces cerevisiae"),
        ("Lactobacillus", ""),
        ("Lactobacillus spp.", ""),
        ("C. humilis", ""),
        ("", ""),
    ],
)
def test_names_fold(written, accepted):
    assert accepted_name(written) == accepted
    assert accepted_name(accepted) == accepted
