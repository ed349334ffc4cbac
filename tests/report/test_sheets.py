"""Bench sheets as files: a workbook to type into and a page to print, with the same content and the same identities."""

from __future__ import annotations

import datetime as dt
import re
import zipfile
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path

import matplotlib as mpl
import numpy as np
import openpyxl
import pandas as pd
import pytest

from leavenbench.care.bench.layout import Cell, find_boxes, reference, sheet_cells
from leavenbench.care.bench.sheet import BenchSheet, identity_of
from leavenbench.care.calendar import round_calendar
from leavenbench.care.cautions import cautions_for
from leavenbench.columns import RESULTS
from leavenbench.errors import CannotRead, Refused
from leavenbench.records.source import Source
from leavenbench.records.workbooks import workbook_grid
from leavenbench.report import sheet_print, sheet_workbook
from leavenbench.report.figures import plot_calendar
from leavenbench.report.save import save_table
from leavenbench.report.sheet_charts import HELPERS
from leavenbench.report.sheets import check_sheets_target, write_sheets

mpl.use("Agg")

HOURS = (0.0, 2.0, 4.0, 8.0)
DAY = dt.date(2025, 3, 1)


def invented_sheet(cultures: tuple[str, ...] = ("Alba", "Bruna"), step: int = 1) -> BenchSheet:
    """Make a sheet: the first jar has bands of height and pH, the second of rise in % alone, more have none."""
    rows = pd.DataFrame([_row(position, culture) for position, culture in enumerate(cultures, start=1)])
    rows = rows[RESULTS["bench_sheet"].names].astype(RESULTS["bench_sheet"].dtypes())
    bands = [
        _band(cultures[0], "rise", "mm", [34, 36, 42, 60], 5.0),
        _band(cultures[0], "acid", "pH", [6, 5.7, 5, 4], 0.2),
    ]
    if len(cultures) > 1:
        bands.append(_band(cultures[1], "rise", "%", [0, 5, 40, 90], 10.0))
    expected = pd.concat(bands)[RESULTS["expected_band"].names].astype(RESULTS["expected_band"].dtypes())
    flour = pd.DataFrame(
        {"lot": ["rye-1", "spelt-2"], "mass_g": [60.0, 20.0], "jars": [2, 1], "so_far_g": [90.0, 20.0]}
    )
    return BenchSheet(
        identity=identity_of("Our shelf", DAY, "B 2", step, rows),
        title="Our shelf",
        day=DAY,
        group="B 2",
        step=step,
        rows=rows,
        hours=HOURS,
        bands=expected,
        flour=flour,
        room_degC=21.0,
        cautions=tuple(cautions_for(["rye", "spelt"], True, 4.6, 24.0)),
    )


def _row(position: int, culture: str) -> dict:
    return {
        "position": position,
        "culture": culture,
        "name": pd.NA if position > 1 else "the white one",
        "flour": "rye",
        "lot": "rye-1 20 g + spelt-2 20 g" if position == 2 else "rye-1",
        "seed_g": 20.0,
        "flour_g": 40.0,
        "water_g": 40.5,
        "mass_g": 100.5,
        "keep_g": 40.0,
        "set_aside_g": 60.5,
        "vessel": "" if position == 2 else "a",
        "tare_g": np.nan if position == 2 else 412.0,
        "clean_before": position != 2,
        "gluten_free": False,
        "suspect": position == 2,
        "why": "a round every 60 days",
        "remark": "130 g cannot be had (too little seed); planned for 100 g" if position == 2 else "",
    }


def _band(culture: str, signal: str, unit: str, middle: list[float], half: float) -> pd.DataFrame:
    level = np.array(middle, dtype=float)
    table = pd.DataFrame({"elapsed_h": HOURS, "low": level - half, "middle": level, "high": level + half})
    return table.assign(culture=culture, signal=signal, unit=unit, refeeds=12)


#: What is typed into the boxes, by position, field and look: clocks as such and as text, commas, a unit, a formula.
TYPED = {
    (0, "person", 0): "Mo",
    (0, "bench_look", 3): dt.time(13, 10),
    (1, "fed_at", 0): dt.time(9, 0),
    (1, "start_height", 0): 34,
    (1, "look", 1): dt.time(9, 5),
    (1, "height", 1): 34.5,
    (1, "look", 2): "11:30",
    (1, "height", 2): "36,5",
    (1, "ph", 2): "5,71",
    (1, "height", 3): "4,5 cm",
    (1, "ph", 3): 5.02,
    (1, "look", 5): dt.time(8, 30),
    (1, "passed", 0): "yes",
    (1, "note", 0): "=looked fine",
    (2, "start_height", 0): 40,
    (2, "height", 2): 50,
    (2, "ph", 4): 4.25,
}


#: The same as it is read.
AS_READ = {
    **{place: str(value) for place, value in TYPED.items()},
    (1, "height", 1): "34.5",
}


def box_cells(sheet: BenchSheet) -> dict[tuple[int, str, int], Cell]:
    """Return the boxes of a sheet by position, field and look."""
    return {(cell.position, cell.box.field, cell.look): cell for cell in sheet_cells(sheet) if cell.box}


def type_into(path: Path, sheet: BenchSheet, typed: dict | None = None) -> None:
    """Type into the boxes of a workbook and save it, as a spreadsheet does."""
    import openpyxl

    book = openpyxl.load_workbook(path)
    boxes = box_cells(sheet)
    for place, value in (TYPED if typed is None else typed).items():
        cell = book.worksheets[0].cell(boxes[place].row, boxes[place].column)
        cell.value = value
        if isinstance(value, str):
            cell.data_type = "s"
    book.save(path)


@pytest.fixture(scope="module")
def sheet():
    return invented_sheet()


@pytest.fixture(scope="module")
def written(sheet, tmp_path_factory):
    folder = tmp_path_factory.mktemp("sheets")
    for name in ("round.xlsx", "round.html"):
        write_sheets([sheet, invented_sheet(step=2)], folder / name)
    return folder


@pytest.fixture(scope="module")
def tab(written):
    return openpyxl.load_workbook(written / "round.xlsx").worksheets[0]


# The workbook.


def test_every_cell_stands_at_its_place(sheet, tab):
    for cell in sheet_cells(sheet):
        value = tab.cell(cell.row, cell.column).value
        shown = f"{value:%Y-%m-%d}" if isinstance(value, dt.datetime) else value
        assert shown == (None if cell.text == "" else cell.text), cell


def test_only_boxes_can_be_typed_into(sheet, tab):
    boxes = {(cell.row, cell.column) for cell in sheet_cells(sheet) if cell.box}
    unlocked = {(cell.row, cell.column) for row in tab.iter_rows() for cell in row if not cell.protection.locked}
    assert unlocked == boxes
    assert tab.protection.sheet
    assert tab.protection.password is None
    assert not tab.protection.formatColumns  # that is: not forbidden
    assert not tab.merged_cells.ranges
    for row, column in boxes:
        assert {side.style for side in (tab.cell(row, column).border.left, tab.cell(row, column).border.top)} == {
            "thin"
        }


def test_a_box_asks_back_and_lets_anything_be_typed(sheet, tab):
    checks = {
        (cell.row, cell.column): check
        for check in tab.data_validations.dataValidation
        for places in check.sqref.ranges
        for row in tab[places.coord if ":" in places.coord else f"{places.coord}:{places.coord}"]
        for cell in row
    }
    kinds = {"number": "decimal", "clock": "time", "day": "date"}
    for cell in sheet_cells(sheet):
        check = checks.pop((cell.row, cell.column), None)
        if cell.box is None or cell.box.kind == "word":
            assert check is None
            continue
        assert (check.type, check.errorStyle) == (kinds.get(cell.box.kind, "list"), "warning")
        if cell.box.kind == "number":
            assert (float(check.formula1), float(check.formula2)) == (cell.box.low, cell.box.high)
        elif check.type == "list":
            assert check.formula1 == f'"{cell.box.kind}"'
    assert not checks


def test_a_fresh_workbook_is_read_as_it_was_laid_out(sheet, written):
    found = find_boxes(_grid(written / "round.xlsx", sheet.identity))
    assert _identity_again(found) == found.identity == sheet.identity
    laid_out = {place: reference(cell.row, cell.column) for place, cell in box_cells(sheet).items()}
    assert _found(found, "cell") == laid_out
    filled = {place: text for place, text in _found(found, "text").items() if text}
    assert filled == {(0, "day", 0): "2025-03-01"}


def test_what_a_keeper_types_comes_back(sheet, written, tmp_path):
    path = tmp_path / "typed.xlsx"
    path.write_bytes((written / "round.xlsx").read_bytes())
    type_into(path, sheet)
    assert _typed(find_boxes(_grid(path, sheet.identity))) == AS_READ


def test_a_workbook_saved_by_another_program_is_found_whole(sheet):
    """As LibreOffice 7.4 saved it.

    Made by `write_sheets([invented_sheet()], ...)`, `type_into(...)` and
    ``soffice --headless --convert-to xlsx --outdir data typed.xlsx``.
    """
    saved = Path(__file__).parent / "data" / "saved_by_libreoffice.xlsx"
    found = find_boxes(_grid(saved, sheet.identity))
    assert _identity_again(found) == found.identity == sheet.identity
    assert set(_found(found, "cell")) == set(box_cells(sheet))
    assert _typed(found) == AS_READ
    # What LibreOffice made of the formulas behind the charts, by hand from the clock times: fed at 09:00, looked at
    # 09:05, 11:30, 13:10 (the whole bench); the printed hour where no time was typed; 08:30 next morning.
    tab = openpyxl.load_workbook(saved, data_only=True).worksheets[0]
    hours, heights, phs = (_helpers(tab, 0, label) for label in ("hours", "height", "ph"))
    assert hours[:4] == pytest.approx([5 / 60, 2.5, 4 + 10 / 60, 8.0])
    assert hours[4:] == pytest.approx([23.5, 0.0])
    assert [value if isinstance(value, int | float) else None for value in heights[:3]] == [34.5, 36.5, None]
    assert phs[1:3] == pytest.approx([5.71, 5.02])
    # In the second jar heights are shown as rise over the start: 50 mm over 40 mm is 25 %.
    assert _helpers(tab, 1, "height")[1] == pytest.approx(25.0)
    assert tab.protection.sheet


def test_the_formulas_are_those_that_the_other_program_computed(sheet, tab):
    saved = openpyxl.load_workbook(Path(__file__).parent / "data" / "saved_by_libreoffice.xlsx").worksheets[0]
    formulas = {cell.coordinate: cell.value for row in tab.iter_rows() for cell in row if cell.data_type == "f"}
    # in each of two jars: one clock time of feeding; for each of six looks clock, hours, height and pH
    assert len(formulas) == 2 * (1 + 6 * 4)
    assert {place: saved[place].value for place in formulas} == formulas


def test_beside_each_jar_stand_two_charts_of_band_and_readings(tab):
    charts = tab._charts
    assert len(charts) == 4
    titles = [(_words(chart.x_axis.title), _words(chart.y_axis.title)) for chart in charts]
    hours = "Hours since feeding [h]"
    assert titles == [(hours, "Height [mm]"), (hours, "pH"), (hours, "Rise [%]"), (hours, "pH")]
    # low, middle, high and the readings; the second jar has no band of pH
    assert [len(chart.series) for chart in charts] == [4, 4, 4, 1]
    assert {(chart.x_axis.scaling.min, chart.x_axis.scaling.max) for chart in charts} == {(0.0, 8.0)}
    middle = charts[0].series[1]
    row = int(re.search(r"\$(\d+)", middle.yVal.numRef.f).group(1))
    assert [tab.cell(row, HELPERS + look).value for look in range(1, 5)] == [34, 36, 42, 60]
    assert middle.graphicalProperties.line.prstDash == "dash"


def test_nothing_in_a_workbook_tells_clock_or_machine(sheet, written, tmp_path):
    for name, write in (
        ("round.xlsx", lambda path: write_sheets([sheet, invented_sheet(step=2)], path)),
        ("table.xlsx", lambda path: save_table(pd.DataFrame({"a": [1, 2]}), path, "a")),
    ):
        write(tmp_path / name)
        again = tmp_path / f"again_{name}"
        write(again)
        assert again.read_bytes() == (tmp_path / name).read_bytes()
        with zipfile.ZipFile(again) as parts:
            # 1980-01-01 is the earliest moment that a zip entry can hold (PKWARE APPNOTE 4.4.6: MS-DOS date)
            assert {part.date_time for part in parts.infolist()} == {(1980, 1, 1, 0, 0, 0)}
            assert not [part for part in parts.namelist() if "vba" in part.lower()]
        told = openpyxl.load_workbook(again).properties
        assert (told.creator, told.created, told.modified) == ("leavenbench", *[dt.datetime(1980, 1, 1)] * 2)
    assert (tmp_path / "round.xlsx").read_bytes() == (written / "round.xlsx").read_bytes()


def test_a_name_is_no_formula(tmp_path):
    names = ("=1+1", "@x", "+x", "-2+3", "\tx")
    sheet = invented_sheet(names)
    write_sheets([sheet], tmp_path / "round.xlsx")
    tab = openpyxl.load_workbook(tmp_path / "round.xlsx").worksheets[0]
    printed = [tab.cell(cell.row, 2) for cell in sheet_cells(sheet) if cell.kind == "heading" and cell.column == 2]
    assert [(cell.value, cell.data_type) for cell in printed] == [(name, "s") for name in names]
    assert _identity_again(find_boxes(_grid(tmp_path / "round.xlsx", sheet.identity))) == sheet.identity


def test_the_name_of_a_tab_fits(tmp_path):
    # a tab's name has 31 letters at most (Excel specifications and limits)
    sheet = invented_sheet()
    long = BenchSheet(**{**vars(sheet), "identity": "2025-03-01-Tuesdayupperrowlefthand-s12-0123abcd"})
    write_sheets([long], tmp_path / "round.xlsx")
    assert openpyxl.load_workbook(tmp_path / "round.xlsx").sheetnames == ["2025-03-01-Tuesday-s12-0123abcd"]


def test_no_page_cuts_a_jar(tmp_path):
    sheet = invented_sheet(tuple(f"culture {number}" for number in range(1, 12)))
    write_sheets([sheet], tmp_path / "round.xlsx")
    tab = openpyxl.load_workbook(tmp_path / "round.xlsx").worksheets[0]
    tops = [cell.row for cell in sheet_cells(sheet) if cell.kind == "heading" and cell.position and cell.column == 1]
    cleaned = {cell.row for cell in sheet_cells(sheet) if cell.kind == "clean"}
    starts = [row - 1 if row - 1 in cleaned else row for row in tops]
    breaks = [page.id for page in tab.row_breaks.brk]
    assert {row + 1 for row in breaks} <= set(starts)
    assert len(breaks) < len(tops)
    heights = [tab.row_dimensions[row].height for row in range(1, tab.max_row + 1)]
    # A4 is 297 mm by 210 mm (ISO 216); 16 mm and 21 mm are margins
    scale = (297 - 16) / 25.4 * 72 / sheet_print._width_pt(tab, 1, 12)
    for start, end in zip([0, *breaks], [*breaks, len(heights)], strict=True):
        assert scale * (sum(heights[start:end]) + sum(heights[:2]) * (start > 0)) <= (210 - 21) / 25.4 * 72
    assert (tab.page_setup.orientation, tab.page_setup.fitToWidth, tab.page_setup.fitToHeight) == ("landscape", 1, 0)
    assert tab.print_title_rows == "$1:$2"
    assert sheet.identity in tab.oddFooter.left.text


# The page.


class _Page(HTMLParser):
    """What stands on a page; opened and closed tags must match."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open, self.tags, self.ids, self.classes = [], Counter(), [], Counter()
        self.texts: dict[str, list[str]] = {}
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        told = dict(attrs)
        self.tags[tag] += 1
        self.classes[told.get("class")] += 1
        self.ids += [told["id"]] if "id" in told else []
        if tag == "svg":
            assert told["role"] == "img"
            self.named = told["aria-labelledby"]
        if tag == "title" and "svg" in self.open:
            assert told["id"] == self.named
        if tag == "th":
            assert told["scope"] in ("row", "col")
        if tag != "meta":
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.texts.setdefault(self.open[-1] if self.open else "", []).append(data)


def _page(path):
    text = path.read_text(encoding="utf-8")
    page = _Page(text)
    assert text.startswith("<!DOCTYPE html>")
    assert not page.open
    return page, text


def test_the_page_holds_what_the_workbook_holds(sheet, written):
    page, text = _page(written / "round.html")
    both = [sheet, invented_sheet(step=2)]
    assert [name for name in page.ids if name.startswith("2025") and name.count("-") == 5] == [s.identity for s in both]
    assert len(page.ids) == len(set(page.ids))
    assert page.classes["box"] == sum(len(box_cells(one)) for one in both)
    words = {word for texts in page.texts.values() for word in texts}
    for caution in sheet.cautions:
        assert caution in words
    for cell in sheet_cells(sheet):
        if cell.kind in ("label", "expected", "title", "clean") and cell.row != 3 and cell.text != "":
            assert any(str(cell.text) in word for word in words), cell
    assert page.tags["svg"] == 2 * 2 * 2
    assert (page.tags["script"], page.tags["link"], page.tags["img"]) == (0, 0, 0)
    assert "http" not in text
    assert '<html lang="en">' in text


def test_a_hostile_name_is_a_name(tmp_path):
    names = ("<script>alert(1)</script>", '"&amp;</title><b>')
    write_sheets([invented_sheet(names)], tmp_path / "round.html")
    page, _ = _page(tmp_path / "round.html")
    assert page.tags["script"] == page.tags["b"] - 4 == 0  # sheet, day, group and step are bold
    heard = "".join(page.texts["h2"])
    assert all(name in heard for name in names)
    drawn = " ".join(page.texts["title"])
    assert all(name in drawn for name in names)


def test_a_jar_is_not_cut_and_the_page_is_never_coloured(written):
    _, text = _page(written / "round.html")
    assert re.search(r"\.jar \{[^}]*break-inside: avoid", text)
    for shade in re.findall(r"#([0-9a-f]{6}|[0-9a-f]{3})\b", text):
        assert len({shade[i : i + len(shade) // 3] for i in range(0, len(shade), len(shade) // 3)}) == 1, shade


# Files.


def test_what_cannot_be_written_is_said_before_any_work(tmp_path):
    (tmp_path / "house").mkdir()
    (tmp_path / "there.xlsx").symlink_to(tmp_path / "nowhere")
    check_sheets_target(tmp_path / "round.xlsx", tmp_path / "house")
    with pytest.raises(Refused, match="exists"):
        check_sheets_target(tmp_path / "there.xlsx", tmp_path / "house")
    with pytest.raises(Refused, match="inside the collection's folder"):
        check_sheets_target(tmp_path / "house" / "round.html", tmp_path / "house")
    for name in ("round.csv", "round", "nowhere/round.html"):
        with pytest.raises(CannotRead):
            check_sheets_target(tmp_path / name, tmp_path / "house")


@pytest.mark.parametrize("name", ["round.xlsx", "round.html"])
def test_a_file_that_exists_is_never_overwritten(sheet, tmp_path, name, monkeypatch):
    target = tmp_path / name
    target.write_text("the old one")
    with pytest.raises(Refused, match="exists"):
        write_sheets([sheet], target)
    target.unlink()

    def meanwhile(sheets, path):
        target.write_text("somebody else's")
        path.write_text("ours")

    monkeypatch.setattr(sheet_workbook, "write_workbook", meanwhile)
    monkeypatch.setattr("leavenbench.report.sheet_page.write_page", meanwhile)
    for links in (True, False):
        if not links:
            _forbid_links(monkeypatch)
        target.unlink(missing_ok=True)
        with pytest.raises(Refused, match="exists"):
            write_sheets([sheet], target)
        assert target.read_text() == "somebody else's"
        assert [path.name for path in tmp_path.iterdir()] == [name]


def _forbid_links(monkeypatch):
    def refuse(self, target):
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(Path, "hardlink_to", refuse)


def test_a_file_system_without_links_will_do(sheet, written, tmp_path, monkeypatch):
    _forbid_links(monkeypatch)
    write_sheets([sheet, invented_sheet(step=2)], tmp_path / "round.html")
    assert [path.name for path in tmp_path.iterdir()] == ["round.html"]
    assert (tmp_path / "round.html").read_bytes() == (written / "round.html").read_bytes()


def test_a_failure_half_way_leaves_nothing(sheet, tmp_path, monkeypatch):
    def fail(book, path):
        path.write_bytes(b"half")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(sheet_workbook, "write_book", fail)
    with pytest.raises(CannotRead, match="No space left"):
        write_sheets([sheet], tmp_path / "round.xlsx")
    with pytest.raises(CannotRead, match="cannot be written"):
        write_sheets([sheet], tmp_path / "nowhere" / "round.xlsx")
    assert list(tmp_path.iterdir()) == []


# The calendar.


def test_the_calendar_shows_every_jar_of_every_day():
    due = pd.DataFrame({"culture": list("abcdef"), "group": [*"AAABB", ""]})
    due["due_on"] = pd.Timestamp("2025-03-01")
    calendar = round_calendar(due, dt.date(2025, 3, 1), 60, 3)
    axes = plot_calendar(calendar)
    shown = Counter()
    for bars in axes.containers:
        for bar in bars:
            shown[bar.get_x()] += bar.get_height()
    days = calendar.groupby("day")["jars"].sum()
    assert {mpl.dates.num2date(day).date(): jars for day, jars in shown.items() if jars} == {
        day.date(): jars for day, jars in days.items()
    }
    assert axes.get_xlabel() == "Day of feeding [date]"
    assert axes.get_ylabel() == "Jars to feed in a day"
    names = [text.get_text() for text in axes.texts]
    assert Counter(names) == Counter(calendar.loc[(calendar["step"] == 1) & (calendar["group"] != ""), "group"])
    looks = {(bars[0].get_facecolor(), bars[0].get_hatch()) for bars in axes.containers}
    assert len(looks) == 3
    assert plot_calendar(calendar.head(0)).get_title("left").startswith("The rounds to come: 0 days")
    import matplotlib.pyplot as plt

    plt.close("all")


def _grid(path, identity):
    return workbook_grid(Source("", path, path.name, identity))


def _identity_again(found):
    return identity_of(found.title, dt.date.fromisoformat(found.day), found.group, int(found.step), found.rows)


def _found(found, column):
    boxes = found.boxes
    return dict(zip(zip(boxes["position"], boxes["field"], boxes["look"], strict=True), boxes[column], strict=True))


def _typed(found):
    return {place: text for place, text in _found(found, "text").items() if text and place != (0, "day", 0)}


def _helpers(tab, jar, label):
    """Return the helper cells of one row of a jar."""
    rows = [row for row in range(1, tab.max_row + 1) if tab.cell(row, HELPERS).value == label]
    return [tab.cell(rows[jar], HELPERS + look).value for look in range(1, 7)]


def _words(title):
    return "".join(run.t for line in title.tx.rich.p for run in line.r)


def test_writing_sheets_leaves_the_font_of_other_workbooks_alone(tmp_path):
    write_sheets([invented_sheet()], tmp_path / "round.xlsx")
    assert openpyxl.Workbook()._fonts[0].name == "Calibri"  # the default of openpyxl, one object for all its workbooks
