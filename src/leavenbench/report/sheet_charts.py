"""Two small charts beside each jar of a workbook: the band expected, and the readings as they are typed.

What the charts draw stands in locked helper cells to the right of what is printed. A reading's hours follow from the
clock times typed; without them the printed hours hold.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from ..care.bench.layout import BENCH_LOOK, Cell, reference
from ..care.bench.sheet import BenchSheet
from .sheet_scales import SIGNALS, Scale, band_of, hours_scale, level_scale

if TYPE_CHECKING:
    from openpyxl.chart import ScatterChart, Series
    from openpyxl.worksheet.worksheet import Worksheet

#: The column of the charts, and the first of the helper cells, whose labels stand in it.
CHARTS, HELPERS = 12, 14
_GREY, _DARK, _FAINT = "8C8C8C", "1B1B1B", "E3E3E3"
_EMU_PER_PT = 12_700


def add_charts(tab: Worksheet, sheet: BenchSheet, cells: list[Cell]) -> None:
    """Put the charts of every jar on a tab, and what they draw.

    Parameters
    ----------
    tab : openpyxl.worksheet.worksheet.Worksheet
        On which `cells` are written.
    sheet : BenchSheet
        Whose tab it is.
    cells : list of Cell
        Its cells, as `sheet_cells` lays them out.
    """
    for jar in sheet.rows.to_dict("records"):
        own = [cell for cell in cells if cell.position == jar["position"]]
        top, bottom = own[0].row + 1, own[-1].row
        middle = top + (bottom - top + 1) // 2
        drawn = _Helpers(tab, cells, own, len(sheet.hours))
        for signal, (first, last) in zip(SIGNALS, ((top, middle), (middle, bottom + 1)), strict=True):
            band = band_of(sheet, jar["culture"], signal)
            scale = level_scale(band, signal)
            chart = _empty_chart(hours_scale(sheet), scale, open_above=signal == "rise")
            chart.series += _band_lines(tab, *drawn.band(band, scale)) if len(band) else []
            chart.series.append(_readings(tab, *drawn.readings(signal, in_percent="%" in scale.label)))
            _place(tab, chart, first, last)


class _Helpers:
    """The helper cells of one jar, row by row from its first one down; so many looks have a printed hour."""

    def __init__(self, tab: Worksheet, cells: list[Cell], own: list[Cell], printed: int) -> None:
        self.tab, self.row = tab, own[0].row
        boxes = {(cell.box.field, cell.look): cell for cell in own if cell.box}
        boxes |= {(BENCH_LOOK.field, cell.look): cell for cell in cells if cell.box is BENCH_LOOK}
        self.boxes = boxes
        self.looks = sorted(look for field, look in boxes if field == "look")
        fed = self._write("fed at", [_or_empty(_clock(self._at("fed_at")))])
        self.clocks = self._write("clock time", [self._clock(look) for look in self.looks])
        self.fed_at, self.printed = _absolute(fed, HELPERS + 1), printed
        self.hours = self._write("hours", [self._hours(look) for look in self.looks])

    def readings(self, signal: str, *, in_percent: bool) -> tuple[int, int, int]:
        """Write what was read; return the rows of hours and levels, and how many there are."""
        told = [_number(self._at(SIGNALS[signal], look)) for look in self.looks]
        if in_percent:
            start = _number(self._at("start_height"))
            told = [f"100*({level}/{start}-1)" for level in told]
        read = [self._read(SIGNALS[signal], look, level) for look, level in zip(self.looks, told, strict=True)]
        return self.hours, self._write(SIGNALS[signal], read), len(read)

    def band(self, band: pd.DataFrame, scale: Scale) -> tuple[int, int, int]:
        """Write a band; return the rows of its hours and of its lower end, above middle and high, and how many."""
        hours = self._write("band at", band["elapsed_h"].tolist())
        first = self.row
        for name in ("low", "middle", "high"):
            self._write(f"{scale.label} {name}", [round(level, 2) for level in band[name]])
        return hours, first, len(band)

    def _clock(self, look: int) -> str:
        own, bench = self._at("look", look), self._at(BENCH_LOOK.field, look)
        return _or_empty(f'IF({own}<>"",{_clock(own)},IF({bench}<>"",{_clock(bench)},""))')

    def _hours(self, look: int) -> str:
        """Return a formula for hours since feeding, on the day that comes nearest to the printed hour.

        It always makes a number, as programs count the points of a chart where one of its hours is none.
        """
        days = f"MOD({reference(self.clocks, HELPERS + look)}-{self.fed_at},1)"
        if look > self.printed:
            return f"=IF({self._untimed(look)},0,24*{days})"
        printed = reference(self.boxes["look", look].row - 1, 1 + look)
        return f"=IF({self._untimed(look)},{printed},24*({days}+ROUND({printed}/24-{days},0)))"

    def _read(self, field: str, look: int, level: str) -> str:
        """Return a formula for what stands in a box, where it is a number and the hours are known."""
        box = self._at(field, look)
        unknown = f'OR({box}="",{self._untimed(look)})' if look > self.printed else f'{box}=""'
        return f"=IF({unknown},NA(),IFERROR({level},NA()))"

    def _untimed(self, look: int) -> str:
        return f'OR({reference(self.clocks, HELPERS + look)}="",{self.fed_at}="")'

    def _at(self, field: str, look: int = 0) -> str:
        cell = self.boxes[field, look]
        return _absolute(cell.row, cell.column)

    def _write(self, label: str, values: list) -> int:
        from openpyxl.styles import Font

        row, self.row = self.row, self.row + 1
        for column, value in enumerate([label, *values], start=HELPERS):
            self.tab.cell(row, column, value).font = Font(name="Arial", size=7, color=_GREY)
        return row


def _absolute(row: int, column: int) -> str:
    return f"${reference(row, column).rstrip('0123456789')}${row}"


def _clock(cell: str) -> str:
    return f'IF(ISTEXT({cell}),TIMEVALUE({cell}),IF({cell}="","",{cell}))'


def _or_empty(formula: str) -> str:
    return f'=IFERROR({formula},"")'


def _number(cell: str) -> str:
    """Return a formula that reads a number with comma or point, in whatever language the program runs."""
    return f'_xlfn.NUMBERVALUE(SUBSTITUTE({cell},",","."),"."," ")'


def _empty_chart(hours: Scale, level: Scale, *, open_above: bool) -> ScatterChart:
    from openpyxl.chart import ScatterChart
    from openpyxl.chart.shapes import GraphicalProperties

    chart = ScatterChart(scatterStyle="lineMarker")
    chart.legend, chart.style = None, 2
    chart.graphical_properties = GraphicalProperties(noFill=True)
    chart.graphical_properties.line.noFill = True
    for axis, scale, form in ((chart.x_axis, hours, "0"), (chart.y_axis, level, "0.0" if level.tick < 1.0 else "0")):
        axis.scaling.min, axis.scaling.max, axis.majorUnit = scale.low, scale.high, scale.tick
        axis.title, axis.txPr = _small_title(scale.label), _small_text()
        axis.number_format, axis.delete, axis.majorTickMark = form, False, "out"
        axis.crosses = "min"
        axis.majorGridlines.spPr = GraphicalProperties(ln=_line(_FAINT, 0.5))
        axis.spPr = GraphicalProperties(ln=_line(_GREY, 0.75))
    chart.y_axis.majorUnit = 1.0 if level.tick == 0.5 else 2.0 * level.tick
    if open_above:  # a jar may rise higher than ever
        chart.y_axis.scaling.max = None
    return chart


def _band_lines(tab: Worksheet, hours: int, low: int, count: int) -> list[Series]:
    lines = []
    for row, name, color, dash in (
        (low, "low", _GREY, None),
        (low + 1, "middle", _GREY, "dash"),
        (low + 2, "high", _GREY, None),
    ):
        line = _series(tab, hours, row, count, f"expected, {name}")
        line.marker.symbol = "none"
        line.graphicalProperties.line = _line(color, 1.0 if dash else 1.5, dash)
        lines.append(line)
    return lines


def _readings(tab: Worksheet, hours: int, row: int, count: int) -> Series:
    from openpyxl.chart.shapes import GraphicalProperties

    points = _series(tab, hours, row, count, "read")
    points.marker.symbol, points.marker.size = "diamond", 7
    points.marker.graphicalProperties = GraphicalProperties(solidFill=_DARK)
    points.graphicalProperties.line.noFill = True
    return points


def _series(tab: Worksheet, hours: int, row: int, count: int, title: str) -> Series:
    from openpyxl.chart import Reference, Series
    from openpyxl.chart.marker import Marker

    x, y = (Reference(tab, min_col=HELPERS + 1, max_col=HELPERS + count, min_row=at, max_row=at) for at in (hours, row))
    series = Series(y, x, title=title)
    series.smooth, series.marker = False, Marker()
    return series


def _line(color: str, width_pt: float, dash: str | None = None) -> Any:
    from openpyxl.drawing.line import LineProperties

    return LineProperties(solidFill=color, w=round(width_pt * _EMU_PER_PT), prstDash=dash)


def _small_text() -> Any:
    from openpyxl.chart.text import RichText
    from openpyxl.drawing.text import Paragraph, ParagraphProperties

    return RichText(p=[Paragraph(pPr=ParagraphProperties(defRPr=_small()), endParaRPr=_small())])


def _small_title(words: str) -> Any:
    from openpyxl.chart.text import RichText, Text
    from openpyxl.chart.title import Title
    from openpyxl.drawing.text import Paragraph, ParagraphProperties, RegularTextRun

    line = Paragraph(pPr=ParagraphProperties(defRPr=_small()), r=[RegularTextRun(rPr=_small(), t=words)])
    return Title(tx=Text(rich=RichText(p=[line])), overlay=False)


def _small() -> Any:
    from openpyxl.drawing.text import CharacterProperties, Font

    return CharacterProperties(sz=800, b=False, latin=Font(typeface="Arial"))


def _place(tab: Worksheet, chart: ScatterChart, first: int, last: int) -> None:
    """Put a chart over the rows from `first` to before `last`, so that it goes where they go."""
    from openpyxl.drawing.spreadsheet_drawing import AnchorMarker, TwoCellAnchor

    chart.anchor = TwoCellAnchor(
        editAs="oneCell",
        _from=AnchorMarker(col=CHARTS - 1, row=first - 1),
        to=AnchorMarker(col=CHARTS, row=last - 1),
    )
    tab.add_chart(chart)
