"""Shelves of a few refeeds whose curves are given, for tests of what cultures are compared by."""

from __future__ import annotations

import pandas as pd
import pytest

AT = pd.Timestamp("2025-03-03 08:00", tz="UTC")
SOUND = {
    "status": "fitted", "max_rate": 20.0, "max_rate_se": 1.0, "extent": 120.0, "extent_se": 6.0, "lag_h": 2.0,
    "lag_h_se": 0.2, "time_to_peak_h": 9.0, "time_to_peak_h_se": 0.3, "ph_end": 4.0, "ph_end_se": 0.03,
}  # fmt: skip


@pytest.fixture
def shelf(make_collection, make_curves):
    """Return a function that makes records, curves of a signal, and vigour, from changes to sound refeeds by number."""

    def make(many=4, signal="rise", curves=None, vigour=None, refeeds=None, **tables):
        names = [f"r{number}" for number in range(many)]
        own = {"refeed": names, "fed_at": [AT + pd.Timedelta(days=60 * number) for number in range(many)]}
        own |= {"culture": ["Alba", "Brine"] * (many // 2), "round": [1 + n for n in range(many)], "step": [1] * many}
        rows = pd.DataFrame({**own, "signal": signal, **SOUND}, index=range(many))
        for number, changed in (curves or {}).items():
            for name, value in changed.items():
                rows[name] = rows[name].astype(object) if name in rows else None
                rows.at[number, name] = value
        log = pd.DataFrame({**own, "purpose": "round", **(refeeds or {})})
        collection = make_collection(refeeds=log.to_dict("list"), **tables)
        too_good = pd.DataFrame({"refeed": names, "too_good": [number in (vigour or ()) for number in range(many)]})
        return collection, make_curves(rows.to_dict("list")), too_good

    return make
