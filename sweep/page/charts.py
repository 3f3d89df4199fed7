"""Options of the two charts of the board: horizontal axes better to the right, and the pairs of objectives."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sweep.page.columns import NAMES, label, maximised
from sweep.page.letters import place
from sweep.page.palette import FONT
from sweep.page.view import View

Colours = Mapping[str, str]
Option = dict[str, Any]
LETTERS = "ABCDEF"
#: the first dimension of every dataset
ROW = "row"
#: lines that are drawn of a large front, and of them those that show what the limits took away
LINES, GREY_LINES = 1500, 500
#: every pair of objectives: row and column of the lower triangle
PAIRS = [(row, column) for row in range(1, len(NAMES)) for column in range(row)]
CORNER = len(PAIRS)
#: places of the panels [%]: left edge, top edge, step across and down, width, height
LEFT, TOP, ACROSS, DOWN, WIDTH, HEIGHT = 7.0, 2.0, 23.4, 23.6, 20.6, 20.6
#: the free pair in the empty upper corner [%]
FREE = {"left": "56%", "top": "9%", "width": "42%", "height": "35%"}
#: sizes of the panels that letters are placed for [px]
PANEL_SIZE, FREE_SIZE = (140.0, 100.0), (300.0, 170.0)


def dimensions(view: View) -> list[str]:
    """Columns that the charts get: objectives, what may be limited, the free pair."""
    return list(dict.fromkeys([ROW, *NAMES, *view.extra, view.across, view.up]))


def ends(view: View, name: str) -> tuple[float, float]:
    """Ends of a column's axis; counts of names stand at whole numbers."""
    low, high = view.span(name)
    held = view.limits.get(name)
    if held is not None:  # a limit beyond what the front holds stays on its axis
        low = min([low, *(end for end in held if end is not None)])
        high = max([high, *(end for end in held if end is not None)])
    return low, high


def axes_option(view: View, colours: Colours) -> Option:
    """Parallel axes, one a row, each better to the right; brushing is theirs."""
    names, shown = view.axes, dimensions(view)
    axes = []
    for name in names:
        low, high = ends(view, name)
        axes.append({
            "id": name, "dim": shown.index(name), "inverse": maximised(name) is False, "min": low, "max": high, "name": "",
            "realtime": False, "splitNumber": 3, "zlevel": 3, "z": 20,
            "axisLine": {"lineStyle": {"color": colours["ink"], "width": 1.2}},
            "axisTick": {"lineStyle": {"color": colours["soft"]}, "length": 4},
            "axisLabel": {
                "color": colours["ink"], "fontSize": 12, "fontFamily": FONT, "margin": 6, "backgroundColor": colours["paper"],
                "padding": [0, 4], "lineHeight": 16, "borderRadius": 2, "showMinLabel": False, "showMaxLabel": False, "hideOverlap": True,
            },
            "areaSelectStyle": {"width": 22, "borderWidth": 1, "borderColor": colours["design"], "color": colours["design"],
                                "opacity": 0.18},
        })  # fmt: skip
    rim = f"{50 / len(names):.1f}%"
    line: Option = {"type": "parallel", "silent": True, "progressive": 0, "smooth": False}
    return {
        "animation": False, "backgroundColor": "transparent",
        "parallel": {"layout": "vertical", "left": 12, "right": 12, "top": rim, "bottom": rim},
        "parallelAxis": axes,
        "aria": {"enabled": True, "label": {"description": f"{len(names)} horizontal axes, better to the right. The fields "
                                                           "beside each axis set the same limits."}},
        "dataset": [
            {"id": "lines", "dimensions": shown, "source": []},
            {"id": "rest", "fromDatasetId": "lines",
             "transform": {"type": "filter", "config": {"dimension": "row", "lt": GREY_LINES}}},
            {"id": "base", "dimensions": shown, "source": []},
            {"id": "pick", "dimensions": shown, "source": []},
        ],
        "series": [
            {**line, "id": "rest", "datasetIndex": 1, "zlevel": 0, "z": 1, **_lines(colours["rest"], 0.8, 0.22, 0.22)},
            {**line, "id": "lines", "datasetIndex": 0, "zlevel": 0, "z": 2, **_lines(colours["design"], 0.8, 0.17, 0.0)},
            {**line, "id": "base", "datasetIndex": 2, "zlevel": 1, "z": 5,
             **_lines(colours["baseline"], 2.2, 1.0, 1.0, [7, 4])},
            {**line, "id": "pick", "datasetIndex": 3, "zlevel": 1, "z": 6, **_lines(colours["ink"], 2.4, 1.0, 1.0)},
        ],
    }  # fmt: skip


def _lines(colour: str, width: float, active: float, inactive: float, dashes: Sequence[int] | None = None) -> Option:
    style: Option = {"width": width, "opacity": active, "color": colour}
    style |= {"type": list(dashes)} if dashes else {}
    return {"lineStyle": style, "activeOpacity": active, "inactiveOpacity": inactive}


def panels(view: View) -> list[tuple[str, str]]:
    """What each panel of the matrix draws: across and up; the free pair is the last."""
    return [*((NAMES[column], NAMES[row]) for row, column in PAIRS), (view.across, view.up)]


def matrix_option(view: View, colours: Colours) -> Option:
    """The lower triangle of pairs, and a larger free pair in the empty corner."""
    grids, across_axes, up_axes, series = [], [], [], list[Option]()
    for k, (across, up) in enumerate(panels(view)):
        free = k == CORNER
        row, column = (0, 0) if free else PAIRS[k]
        grids.append(FREE if free else {
            "left": f"{LEFT + column * ACROSS:.1f}%", "top": f"{TOP + (row - 1) * DOWN:.1f}%", "width": f"{WIDTH}%",
            "height": f"{HEIGHT}%",
        })  # fmt: skip
        across_axes.append(_axis(view, across, k, colours, free or row == len(NAMES) - 1, across=True, free=free))
        up_axes.append(_axis(view, up, k, colours, free or column == 0, across=False, free=free))
        dots: Option = {"type": "scatter", "xAxisIndex": k, "yAxisIndex": k, "animation": False}
        many = {**dots, "large": True, "largeThreshold": 200, "encode": {"x": across, "y": up}}
        series += [
            {**many, "id": f"all{k}", "datasetIndex": 0, "symbolSize": 3.2 if free else 2.6, "z": 1, "zlevel": 0,
             "itemStyle": {"color": colours["rest"], "opacity": 0.7}, "cursor": "crosshair"},
            {**many, "id": f"kept{k}", "datasetIndex": 1, "symbolSize": 3.4 if free else 2.8, "z": 2, "zlevel": 1,
             "silent": True, "itemStyle": {"color": colours["design"], "opacity": 0.6}},
            {**dots, "id": f"base{k}", "symbol": "diamond", "symbolSize": 12, "z": 4, "zlevel": 2, "silent": True, "data": [],
             "itemStyle": {"color": colours["baseline"], "borderColor": colours["paper"], "borderWidth": 1}},
            {**dots, "id": f"pick{k}", "symbol": "circle", "symbolSize": 15, "z": 5, "zlevel": 2, "silent": True, "data": [],
             "itemStyle": {"color": "transparent", "borderColor": colours["ink"], "borderWidth": 2}},
            {**dots, "id": f"short{k}", "symbol": "circle", "symbolSize": 7, "z": 6, "zlevel": 2, "silent": True, "data": [],
             "itemStyle": {"color": colours["paper"], "borderColor": colours["ink"], "borderWidth": 1.6},
             "label": {"color": colours["ink"], "textBorderColor": colours["paper"], "textBorderWidth": 2}},
        ]  # fmt: skip
    shown = dimensions(view)
    return {
        "animation": False, "backgroundColor": "transparent", "grid": grids, "xAxis": across_axes, "yAxis": up_axes,
        "series": series,
        "aria": {"enabled": True, "label": {"description": "Scatter plots of every pair of the five objectives, and one of "
                                                           f"{label(view.across)} and {label(view.up)}."}},
        "dataset": [
            {"id": "all", "dimensions": shown, "source": []},
            {"id": "kept", "fromDatasetId": "all", "transform": {"type": "filter", "config": view.chart_filter()}},
        ],
    }  # fmt: skip


def _axis(view: View, name: str, k: int, colours: Colours, shown: bool, *, across: bool, free: bool) -> Option:
    sense = maximised(name)
    arrow = "" if sense is None else " →" if sense else " ←"
    words = view.frame[name].dtype == object
    axis: Option = {
        "gridIndex": k, "splitLine": {"show": False}, "splitNumber": 5 if free else 3,
        "axisTick": {"show": shown, "length": 3, "lineStyle": {"color": colours["line"]}},
        "axisLine": {"onZero": False, "lineStyle": {"color": colours["line"]}},
        "axisLabel": {"show": shown, "fontSize": 12, "color": colours["soft"], "fontFamily": FONT, "hideOverlap": True,
                      "showMinLabel": words, "showMaxLabel": words, "margin": 5},
        "name": label(name) + arrow if shown and not free else "", "nameLocation": "middle",
        "nameGap": 22 if across else 34,
        "nameTextStyle": {"color": colours["ink"], "fontSize": 13, "fontFamily": FONT, "fontWeight": 500},
    }  # fmt: skip
    if words:
        names = [option if len(option) < 15 else option[:13] + "…" for option in view.options(name)]
        narrow = {"width": 64, "overflow": "truncate"} if not across else {"interval": 0, "width": 70, "overflow": "break"}
        return axis | {"type": "category", "data": names, "axisLabel": {**axis["axisLabel"], **narrow}, "nameGap": 30}
    low, high = view.span(name)
    return axis | {"type": "value", "min": low, "max": high}


def marks(view: View, shortlist: Sequence[str], baseline: Mapping[str, float] | None) -> list[Option]:
    """Series of the matrix for baseline, picked design and shortlist, the letters placed."""
    found: list[Option] = []
    for k, (across, up) in enumerate(panels(view)):
        size = FREE_SIZE if k == CORNER else PANEL_SIZE
        across_values, up_values = view.numbers(across), view.numbers(up)

        def at(design: str, x: Any = across_values, y: Any = up_values) -> list[float] | None:
            row = view.rows.get(design)
            return None if row is None else [float(x[row]), float(y[row])]

        here = [(letter, at(design)) for letter, design in zip(LETTERS, shortlist, strict=False)]
        known = [(letter, point) for letter, point in here if point is not None]
        own = None if baseline is None else _baseline_point(view, baseline, across, up)
        picked = None if view.picked is None else at(view.picked)
        spans = (view.span(across), view.span(up))
        others = [_pixels(point, spans, size) for point in (own, picked) if point is not None]
        offsets = place([_pixels(point, spans, size) for _, point in known], others, size)
        found += [
            {"id": f"base{k}", "data": [own] if own is not None else []},
            {"id": f"pick{k}", "data": [picked] if picked is not None else []},
            {"id": f"short{k}", "data": [_letter(*one, offset) for one, offset in zip(known, offsets, strict=True)]},
        ]
    return found


def _letter(letter: str, point: list[float], offset: tuple[int, int]) -> Option:
    text = {"show": True, "formatter": letter, "position": "inside", "offset": list(offset), "fontSize": 12, "fontWeight": 600,
            "fontFamily": FONT}  # fmt: skip
    return {"value": point, "label": text}


def _baseline_point(view: View, baseline: Mapping[str, Any], across: str, up: str) -> list[float] | None:
    point = []
    for name in (across, up):
        value = baseline.get(name)
        if value is None:
            return None
        if isinstance(value, str):
            options = view.options(name)
            if value not in options:
                return None
            value = options.index(value)
        point.append(float(value))
    return point if all(value == value for value in point) else None  # nan is unlike itself


def _pixels(
    point: Sequence[float], spans: tuple[tuple[float, float], tuple[float, float]], size: tuple[float, float]
) -> tuple[float, float]:
    (left, right), (low, high) = spans
    return size[0] * (point[0] - left) / ((right - left) or 1), size[1] * (high - point[1]) / ((high - low) or 1)
