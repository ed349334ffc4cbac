"""The band that a jar's history expects, drawn to write on: readings can be set in by pencil."""

from __future__ import annotations

from xml.etree.ElementTree import Element, SubElement

import pandas as pd

from .sheet_scales import Scale

#: The drawing and the field within it, in its own units.
_WIDE, _HIGH = 360.0, 136.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 44.0, 352.0, 6.0, 104.0
_INK, _LINE, _BAND, _FAINT = "#1b1b1b", "#555555", "#e4e4e4", "#cfcfcf"


def draw_band(band: pd.DataFrame, hours: Scale, level: Scale, title: str, name: str) -> Element:
    """Draw a band over the hours since feeding.

    Parameters
    ----------
    band : pandas.DataFrame
        elapsed_h, low, middle, high, in the order of hours; may be empty.
    hours, level : Scale
        The axes.
    title : str
        What is seen, in words.
    name : str
        The drawing's own name on the page.

    Returns
    -------
    xml.etree.ElementTree.Element
        An svg: the band as a field with firm edges, its middle dashed, on a faint grid.
    """
    drawing = Element("svg", {"viewBox": f"0 0 {_WIDE:g} {_HIGH:g}", "role": "img", "aria-labelledby": name})
    SubElement(drawing, "title", {"id": name}).text = title
    if len(band):
        ends = [*_points(band, "high", hours, level), *reversed(_points(band, "low", hours, level))]
        SubElement(drawing, "polygon", {"points": " ".join(ends), "fill": _BAND})
    _draw_grid(drawing, hours, level)
    for edge, dash in (("low", ""), ("high", ""), ("middle", "6 4")):
        look = {"fill": "none", "stroke": _LINE, "stroke-width": "1.2"} | ({"stroke-dasharray": dash} if dash else {})
        SubElement(drawing, "polyline", {"points": " ".join(_points(band, edge, hours, level)), **look})
    if band.empty:
        _write(drawing, "no band yet: its history is too short", (_LEFT + _RIGHT) / 2.0, _TOP + 16.0, "middle")
    return drawing


def _draw_grid(drawing: Element, hours: Scale, level: Scale) -> None:
    for hour in hours.marks():
        x = _across(hour, hours)
        _rule(drawing, x, _TOP, x, _BOTTOM, _FAINT)
        _rule(drawing, x, _BOTTOM, x, _BOTTOM + 4.0, _INK)
        _write(drawing, f"{hour:g}", x, _BOTTOM + 15.0, "middle")
    for mark in level.marks():
        y = _up(mark, level)
        _rule(drawing, _LEFT, y, _RIGHT, y, _FAINT)
        if mark == round(mark):
            _rule(drawing, _LEFT - 4.0, y, _LEFT, y, _INK)
            _write(drawing, f"{mark:g}", _LEFT - 6.0, y + 3.5, "end")
    _rule(drawing, _LEFT, _TOP, _LEFT, _BOTTOM, _INK)
    _rule(drawing, _LEFT, _BOTTOM, _RIGHT, _BOTTOM, _INK)
    _write(drawing, hours.label, (_LEFT + _RIGHT) / 2.0, _HIGH - 4.0, "middle")
    middle = (_TOP + _BOTTOM) / 2.0
    _write(drawing, level.label, 11.0, middle, "middle", transform=f"rotate(-90 11 {middle:g})")


def _points(band: pd.DataFrame, edge: str, hours: Scale, level: Scale) -> list[str]:
    return [
        f"{_across(hour, hours):.1f},{_up(value, level):.1f}"
        for hour, value in band[["elapsed_h", edge]].itertuples(index=False)
    ]


def _across(hour: float, hours: Scale) -> float:
    return _LEFT + (_RIGHT - _LEFT) * (hour - hours.low) / (hours.high - hours.low)


def _up(value: float, level: Scale) -> float:
    return _BOTTOM - (_BOTTOM - _TOP) * (value - level.low) / (level.high - level.low)


def _rule(drawing: Element, x1: float, y1: float, x2: float, y2: float, shade: str) -> None:
    ends = {"x1": x1, "y1": y1, "x2": x2, "y2": y2}
    place = {name: f"{end:.1f}" for name, end in ends.items()}
    SubElement(drawing, "line", {**place, "stroke": shade, "stroke-width": "0.8"})


def _write(drawing: Element, words: str, x: float, y: float, anchor: str, **more: str) -> None:
    place = {"x": f"{x:.1f}", "y": f"{y:.1f}", "text-anchor": anchor, "font-size": "10.5", "fill": _INK}
    SubElement(drawing, "text", {**place, **more}).text = words
