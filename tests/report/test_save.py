"""Files written whole or not at all, in forms that other programs read."""

from __future__ import annotations

import pandas as pd
import pytest

from leavenbench.errors import CannotRead
from leavenbench.report import save
from leavenbench.report.save import as_written, save_table

TABLE = pd.DataFrame(
    {
        "culture": ["Alba", "=SUM(A1)", None],
        "fed_at": pd.to_datetime(["2025-03-30 01:30Z", "2025-10-26 00:30Z", None]).tz_convert("Europe/Vienna"),
        "act_by": pd.to_datetime(["2025-04-01", None, "2025-05-01"]),
        "passed": pd.array([True, False, None], "boolean"),
        "step": pd.array([1, None, 3], "Int64"),
        "vigour_pct": [97.25, float("nan"), 12.0],
    }
)


def test_times_are_iso_8601_with_offset():
    # Summer time in the European Union ends on the last Sunday of October at 01:00 UTC (Directive 2000/84/EC).
    written = as_written(TABLE)
    assert written["fed_at"].tolist()[:2] == ["2025-03-30T03:30:00+02:00", "2025-10-26T02:30:00+02:00"]
    assert written["act_by"].tolist()[0] == "2025-04-01"
    assert written["passed"].tolist()[:2] == ["yes", "no"]
    assert written.iloc[2][["culture", "fed_at", "passed"]].isna().all()


@pytest.mark.parametrize(("suffix", "read"), [(".csv", pd.read_csv), (".xlsx", pd.read_excel)])
def test_what_is_read_back_is_what_was_written(tmp_path, suffix, read):
    save_table(TABLE, tmp_path / f"t{suffix}", "watch_list")
    back = read(tmp_path / f"t{suffix}")
    assert back["culture"].fillna("").tolist() == ["Alba", "=SUM(A1)", ""]
    assert back["vigour_pct"].tolist()[::2] == [97.25, 12.0]
    assert back["step"].tolist()[::2] == [1, 3]
    assert back["fed_at"].iloc[0] == "2025-03-30T03:30:00+02:00"


def test_parquet_keeps_types(tmp_path):
    save_table(TABLE, tmp_path / "t.parquet", "watch_list")
    back = pd.read_parquet(tmp_path / "t.parquet")
    assert str(back["fed_at"].dtype) == str(TABLE["fed_at"].dtype)
    pd.testing.assert_frame_equal(back, TABLE)


def test_a_failure_half_way_leaves_the_old_file(tmp_path, monkeypatch):
    target = tmp_path / "t.csv"
    target.write_text("the old one")

    def fail(table, path):
        path.write_text("half")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(save, "_write_csv", fail)
    with pytest.raises(CannotRead, match="No space left"):
        save_table(TABLE, target, "t")
    assert target.read_text() == "the old one"
    assert [path.name for path in tmp_path.iterdir()] == ["t.csv"]
