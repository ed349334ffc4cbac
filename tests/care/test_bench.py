"""The bench sheets: the order of work, what is weighed, and an id that the same records always give."""

from __future__ import annotations

import datetime as dt
import itertools
import shutil

import pandas as pd
import pytest

from leavenbench.care.bench.layout import find_boxes, sheet_cells
from leavenbench.care.bench.order import in_order
from leavenbench.care.bench.plan import bench_sheets, extra_sheets, lots_of, parted
from leavenbench.care.bench.sheet import identity_of
from leavenbench.care.rounds import due_list, fed_now
from leavenbench.errors import CannotRead, Refused
from leavenbench.records.collection import read_collection

ON = dt.date(2024, 12, 31)
NOBODY = pd.DataFrame({"culture": pd.Series(dtype="str"), "standing": pd.Series(dtype="str")})


def sheets_of(shelf, listed=NOBODY, on=ON, group=None):
    return bench_sheets(shelf, listed, fed_now(due_list(shelf, listed, on), group), on)


@pytest.fixture(scope="module")
def sheets(shelf):
    return sheets_of(shelf)


def changed(folder, tmp_path, name, old, new):
    copy = shutil.copytree(folder, tmp_path / "copy")
    text = (copy / name).read_text()
    assert old in text
    (copy / name).write_text(text.replace(old, new))
    return read_collection(copy)


def as_grid(sheet):
    """Return the cells of a sheet as a grid of text, as a workbook gives them back."""
    cells = sheet_cells(sheet)
    grid = pd.DataFrame("", index=range(max(it.row for it in cells)), columns=range(max(it.column for it in cells)))
    for it in cells:
        grid.iat[it.row - 1, it.column - 1] = str(it.text)
    return grid


def test_gluten_free_first_then_flour_by_flour_suspect_last_and_clean_tools_between():
    """Common practice, no source: the bench order of the design."""
    rows = pd.DataFrame(
        {
            "culture": ["w2", "r1", "g2", "x1", "w1", "g1"],
            "flour": ["wheat", "rye", "rice", "rye", "wheat", "rice"],
            "shelf": "",
            "shelf_order": [2, 1, 2, 1, 1, 1],
            "gluten_free": [False, False, True, False, False, True],
            "suspect": [False, False, True, True, False, False],
        }
    )
    made = in_order(rows)
    assert made["culture"].tolist() == ["g1", "g2", "r1", "w1", "w2", "x1"]
    assert made["position"].tolist() == [1, 2, 3, 4, 5, 6]
    # before each flour, and before and after whoever is suspect
    assert made["clean_before"].tolist() == [True, True, True, True, False, True]


def test_a_round_is_a_sheet_a_step_on_days_that_follow_each_other(sheets):
    assert [sheet.step for sheet in sheets] == [1, 2, 3]
    assert [sheet.day for sheet in sheets] == [ON, ON + dt.timedelta(days=1), ON + dt.timedelta(days=2)]
    assert sheets[0].rows["culture"].tolist() == ["Rika", "Alba", "Bruno"]
    assert sheets[0].rows["gluten_free"].tolist() == [True, False, False]


def test_what_is_kept_of_one_step_is_the_seed_of_the_next_and_every_gram_is_told(sheets):
    for sheet, following in itertools.pairwise(sheets):
        now, then = (of.rows.set_index("culture") for of in (sheet, following))
        assert (now["keep_g"] == then["seed_g"]).all()
    for sheet in sheets:
        rows = sheet.rows
        assert (rows["seed_g"] + rows["flour_g"] + rows["water_g"] == rows["mass_g"]).all()
        assert (rows["keep_g"] + rows["set_aside_g"] == rows["mass_g"]).all()
        assert sheet.flour["mass_g"].sum() == rows["flour_g"].sum()
    assert sheets[-1].flour.set_index("lot")["so_far_g"].sum() == sum(sheet.rows["flour_g"].sum() for sheet in sheets)
    told = {jar: str(cell.text) for cell in sheet_cells(sheets[0]) if (jar := cell.position) and cell.kind == "caution"}
    assert told[2].startswith("For the next step keep 38 g, set 62 g aside. Under the band")
    assert (sheets[-1].rows["mass_g"] == 330).all()  # the target of the collection
    assert sheets[0].rows["seed_g"].tolist() == [20, 20, 20]  # as always, so that like is compared with like


def test_a_group_has_its_own_sheets_and_ids(shelf, sheets):
    alone = sheets_of(shelf, group="A")
    assert alone[0].rows["culture"].tolist() == ["Alba", "Bruno"]
    assert alone[0].identity.startswith("2024-12-31-A-s1-")
    assert sheets[0].identity.startswith("2024-12-31-all-s1-")


def test_the_same_records_give_the_same_id_and_other_plans_another(shelf, sheets, folder, tmp_path):
    again = sheets_of(read_collection(folder))
    assert [sheet.identity for sheet in again] == [sheet.identity for sheet in sheets]
    assert len({sheet.identity for sheet in sheets}) == 3
    other = sheets_of(changed(folder, tmp_path, "collection.toml", "Test shelf", "Another shelf"))
    assert all(one.identity != two.identity for one, two in zip(sheets, other, strict=True))
    rows = sheets[0].rows.copy()
    rows.loc[0, "seed_g"] += 1
    assert identity_of("Test shelf", ON, "all", 1, rows) != sheets[0].identity


def test_a_sheet_is_found_again_in_its_cells_even_when_rows_were_put_in_above(sheets):
    for sheet in sheets:
        grid = as_grid(sheet)
        for given in (grid, pd.concat([grid.iloc[:2] * 0 + "", grid], ignore_index=True)):
            found = find_boxes(given)
            assert found.identity == sheet.identity
            told = identity_of(found.title, dt.date.fromisoformat(found.day), found.group, int(found.step), found.rows)
            assert told == sheet.identity
            boxes = [cell for cell in sheet_cells(sheet) if cell.box is not None]
            assert len(found.boxes) == len(boxes)
            assert set(found.boxes.loc[found.boxes["text"] != "", "field"]) == {"day"}
    assert find_boxes(pd.DataFrame([["refeed", "culture"], ["1", "Alba"]])) is None


def test_no_two_cells_stand_in_one_place(sheets):
    cells = sheet_cells(sheets[0])
    assert len({(cell.row, cell.column) for cell in cells}) == len(cells)


def test_each_jar_shows_its_band_in_mm_its_jar_and_what_the_scale_shows(sheets):
    sheet = sheets[2]
    band = sheet.bands[(sheet.bands["culture"] == "Alba") & (sheet.bands["signal"] == "rise")]
    assert (band["unit"] == "mm").all()
    # the shelf rises to some 2.1 times its start: 330 g over 1.1 g/mL in a jar of 85 mm stand 52.9 mm high
    assert float(band["middle"].iloc[-1]) == pytest.approx(2.1 * 52.9, rel=0.05)
    texts = {str(cell.text) for cell in sheet_cells(sheet) if cell.position == 2}
    assert {"Jar 2", "Alba", "A3", "rye-1", "330.0", "300.0", "630.0"} <= texts


def test_cautions_are_there_where_they_are_due(sheets):
    """Sources: raw flour, CDC, FDA and BfR; allergens, EU 1169/2011 Annex II, from memory; gluten, 85 FR 49240."""
    told = " ".join(sheets[0].cautions)
    for word in ("raw", "mould", "discard", "4.6", "wheat, rye", "gluten-free", "local food-safety"):
        assert word in told.casefold() or word in told, word
    texts = " ".join(str(cell.text) for cell in sheet_cells(sheets[0]))
    assert "Keep the old jar in the cold until this one has passed." in texts
    assert "read again" in texts
    assert "add a step" in texts


def test_the_suspect_come_last_and_it_is_said_why(folder, tmp_path):
    shelf = changed(folder, tmp_path, "refeeds.csv", "cold_store\n", "cold_store,signs\n")
    shelf.tables["refeeds"].loc[shelf["refeeds"]["refeed"] == "Alba-5-3", "signs"] = "pink spot"
    listed = pd.DataFrame({"culture": ["Bruno"], "standing": ["steady"], "identity_doubt": [True], "floor": ["met"]})
    rows = sheets_of(shelf, listed)[0].rows
    assert rows["culture"].tolist() == ["Rika", "Alba", "Bruno"]
    assert rows["suspect"].tolist() == [False, True, True]
    assert "signs noted: pink spot" in rows["why"][1]
    assert "perhaps not itself" in rows["why"][2]
    assert rows["clean_before"].tolist() == [True, True, True]


def test_what_cannot_be_had_is_said_and_the_most_that_can_is_planned(folder, tmp_path):
    """The jar of the last step holds 300 mL: exact, .95 x 300 mL x 1.1 g/mL over one plus the usual rise."""
    shelf = changed(folder, tmp_path, "vessels.csv", "A3,960", "A3,300")
    sheet = sheets_of(shelf)[2]
    row = sheet.rows.set_index("culture").loc["Alba"]
    rise = sheet.bands[(sheet.bands["culture"] == "Alba") & (sheet.bands["signal"] == "rise")]
    most = 0.95 * 300 * 1.1 / (rise["middle"].max() / (row["mass_g"] / 1.1 * 4000 / 3.141592653589793 / 85**2))
    assert row["mass_g"] == pytest.approx(most, rel=0.05)
    assert "330 g cannot be had" in row["remark"]
    assert "overflow a jar of 300 mL" in row["remark"]
    assert sheet.rows.set_index("culture").loc["Bruno", "remark"] == ""


def test_a_culture_whose_ratio_nobody_knows_is_on_the_sheet_all_the_same(make_collection):
    fed = pd.to_datetime(["2024-01-10 08:00"]).tz_localize("UTC")
    shelf = make_collection(
        refeeds={"refeed": ["a"], "culture": ["x"], "fed_at": fed, "purpose": "round", "round": 1, "step": 1}
    )
    sheet = sheets_of(shelf, on=dt.date(2024, 4, 1))[0]
    assert sheet.rows["culture"].tolist() == ["x"]
    assert sheet.rows["seed_g"].isna().all()
    assert "feed ratio is not known" in sheet.rows["remark"][0]
    assert find_boxes(as_grid(sheet)).identity == sheet.identity


def test_one_more_step_is_planned_from_the_jar_that_has_not_passed(folder, tmp_path):
    open_jar = changed(folder, tmp_path, "refeeds.csv", "132,132,A3,53,20,yes", "132,132,A3,53,20,no")
    assert not open_jar["refeeds"].set_index("refeed").loc["Alba-5-3", "passed"]
    made = extra_sheets(open_jar, NOBODY, ["Alba"], dt.date(2024, 11, 3))
    assert [sheet.step for sheet in made] == [4]
    assert made[0].group == "extra"
    assert made[0].rows[["seed_g", "flour_g", "water_g"]].values.tolist() == [[66, 132, 132]]
    with pytest.raises(Refused, match="Bruno passed on 2024-11-02"):
        extra_sheets(open_jar, NOBODY, ["Bruno"], dt.date(2024, 11, 3))
    with pytest.raises(CannotRead, match="'Nobody' was never fed"):
        extra_sheets(open_jar, NOBODY, ["Nobody"], dt.date(2024, 11, 3))


def test_a_blend_is_weighed_lot_by_lot_and_no_gram_is_lost(folder, tmp_path):
    copy = shutil.copytree(folder, tmp_path / "blend")
    text = (copy / "refeeds.csv").read_text()
    (copy / "refeeds.csv").write_text(
        text.replace("Alba-5-3,Alba,2024-11-02 08:04,3,rye-1", "Alba-5-3,Alba,2024-11-02 08:04,3,")
    )
    (copy / "refeed_flours.csv").write_text("refeed,lot,mass\nAlba-5-3,rye-1,44\nAlba-5-3,wheat-1,88\n")
    sheet = sheets_of(read_collection(copy))[2]
    lot = sheet.rows.set_index("culture").loc["Alba", "lot"]
    assert lot == "rye-1 44 g + wheat-1 88 g"
    assert lots_of(lot, 132) == {"rye-1": 44.0, "wheat-1": 88.0}
    assert sum(parted(101, {"a": 1 / 3, "b": 1 / 3, "c": 1 / 3}, 1.0).values()) == 101
    assert sheet.flour["mass_g"].sum() == sheet.rows["flour_g"].sum()


def test_no_lot_is_taken_that_is_past_its_best_while_another_is_not(folder, tmp_path):
    lots = (folder / "flour_lots.csv").read_text().replace(
        "2025-12-01", "2024-12-01"
    ) + "rye-2,rye,2024-11-20,2025-12-01,20\n"
    shelf = changed(folder, tmp_path, "flour_lots.csv", (folder / "flour_lots.csv").read_text(), lots)
    lots = sheets_of(shelf)[0].rows.set_index("culture")["lot"]
    assert lots.to_dict() == {"Rika": "rice-1", "Alba": "rye-2", "Bruno": "wheat-1"}
