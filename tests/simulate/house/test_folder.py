"""How tables are written: every row once, in the units, marks and formats of its writer."""

import pandas as pd
import pytest

from leavenbench.errors import Refused
from leavenbench.simulate.house.folder import Sheet, write_collection

REFEEDS = pd.DataFrame(
    {
        "refeed": ["R1", "R2"],
        "culture": ["Ash", "Elm; the tall"],
        "fed_at": pd.to_datetime(["2022-05-02 07:35", "2023-05-02 07:40"]),
        "room_temperature": [21.5, None],
        "step": [1, 2],
    }
)


def first(table):
    return table["refeed"] == "R1"


def test_a_text_file_has_few_decimals_and_empty_cells(tmp_path):
    (file,) = write_collection({"refeeds": REFEEDS}, tmp_path / "new")
    assert file.read_bytes().decode("utf-8").splitlines() == [
        "refeed,culture,fed_at,room_temperature,step",
        "R1,Ash,2022-05-02 07:35,21.5,1",
        "R2,Elm; the tall,2023-05-02 07:40,,2",
    ]


def test_a_spreadsheet_file_has_semicolons_decimal_commas_units_and_its_mark(tmp_path):
    sheet = Sheet(
        "refeeds/all.csv",
        units={"room_temperature": "degF"},
        separator=";",
        decimal=",",
        byte_order_mark=True,
    )
    (file,) = write_collection({"refeeds": REFEEDS}, tmp_path, [sheet])
    written = file.read_bytes()
    assert written.startswith(b"\xef\xbb\xbf")
    assert b"\r" not in written
    assert written.decode("utf-8-sig").splitlines() == [
        "refeed;culture;fed_at;room_temperature [degF];step",
        "R1;Ash;2022-05-02 07:35;70,7;1",  # 21.5 degC = 21.5 x 9/5 + 32 degF
        'R2;"Elm; the tall";2023-05-02 07:40;;2',
    ]


def test_xlsx_and_parquet_hold_cells_with_their_kind(tmp_path):
    columns = ("refeed", "fed_at", "room_temperature")
    sheets = [
        Sheet("refeeds/one.xlsx", first, columns),
        Sheet("refeeds/two.parquet", lambda table: ~first(table), columns),
    ]
    one, two = write_collection({"refeeds": REFEEDS}, tmp_path, sheets)
    assert pd.read_excel(one, sheet_name="refeeds").to_dict("records") == [
        {"refeed": "R1", "fed_at": pd.Timestamp("2022-05-02 07:35"), "room_temperature": 21.5}
    ]
    table = pd.read_parquet(two)
    assert table["refeed"].tolist() == ["R2"]
    assert table["fed_at"].tolist() == [pd.Timestamp("2023-05-02 07:40")]
    assert table["room_temperature"].isna().all()


def test_a_workbook_holds_several_tables_each_in_its_sheet(tmp_path):
    stores = pd.DataFrame({"store": ["cellar"], "warn_above": [8.0]})
    sheets = [
        Sheet("collection.xlsx", of="refeeds"),
        Sheet("collection.xlsx", of="stores", units={"warn_above": "degF"}),
    ]
    (book,) = write_collection({"refeeds": REFEEDS, "stores": stores}, tmp_path, sheets)
    read = pd.read_excel(book, sheet_name=None)
    assert list(read) == ["refeeds", "stores"]
    assert read["refeeds"]["refeed"].tolist() == ["R1", "R2"]
    assert read["stores"].to_dict("records") == [{"store": "cellar", "warn_above [degF]": 46.4}]  # 8 x 9/5 + 32


def test_settings_become_a_toml_file(tmp_path):
    import tomllib

    settings = {"title": 'The "old" mill, Zürich', "round_days": 60}
    toml, _ = write_collection({"refeeds": REFEEDS}, tmp_path, settings=settings)
    assert tomllib.loads(toml.read_text(encoding="utf-8")) == settings


@pytest.mark.parametrize(
    "sheets", [[Sheet("refeeds/a.csv", first)], [Sheet("refeeds/a.csv"), Sheet("refeeds/b.csv", first)]]
)
def test_a_row_in_no_file_or_in_two_is_an_error_and_writes_nothing(tmp_path, sheets):
    with pytest.raises(ValueError, match="1 rows of refeeds would stand in no file, or in more than one"):
        write_collection({"refeeds": REFEEDS}, tmp_path / "new", sheets)
    assert not (tmp_path / "new").exists()


def test_a_folder_that_holds_something_is_left_alone(tmp_path):
    (tmp_path / "mine.txt").write_text("keep", encoding="utf-8")
    with pytest.raises(Refused, match="is not empty"):
        write_collection({"refeeds": REFEEDS}, tmp_path)
    assert [file.name for file in tmp_path.iterdir()] == ["mine.txt"]
