"""Options of the two charts of the board: horizontal axes better to the right, and the pairs of objectives."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sweep.page.columns import NAMES, label, maximised, unit, with_unit
from sweep.page.letters import place
from sweep.page.palette import FONT
from sweep.page.view import View

Colours = Mapping[str, str]
Option = dict[str, Any]
LETTERS = "ABCDEF"
ALL, KEPT, MARKS = "all", "kept", "marks"
#: the first dimension of every dataset
ROW = "row"
#: lines that are drawn of a large front, and of them those that show what the limits took away
LINES, GREY_LINES = 1000, 300
#: every pair of objectives: row and column of the lower triangle
PAIRS = [(row, column) for row in range(1, len(NAMES)) for column in range(row)]
CORNER = len(PAIRS)
#: places of the panels [%]: left edge, top edge, step across and down, width, height
LEFT, TOP, ACROSS, DOWN, WIDTH, HEIGHT = 7.0, 2.0, 23.4, 23.6, 20.6, 20.6
#: the free pair in the empty upper corner [%]
FREE = {"left": "56%", "top": "10.5%", "width": "41%", "height": "33.5%"}
#: places of the panels on a narrow screen [%]: two beside each other, the free pair below them
NARROW = 520
NARROW_LEFT, NARROW_TOP, NARROW_DOWN, NARROW_WIDTH, NARROW_HEIGHT = (10.0, 59.0), 1.8, 14.4, 38.0, 9.6
NARROW_FREE = {"left": "12%", "top": "76%", "width": "84%", "height": "20%"}
#: designs from which on points are drawn smaller
MANY = 2000
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
                "color": colours["ink"], "fontSize": 12, "fontFamily": FONT, "margin": 6, "lineHeight": 16, "padding": [0, 4],
                "backgroundColor": colours["paper"], "borderRadius": 2, "showMinLabel": False, "showMaxLabel": False,
                "hideOverlap": True,
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


def matrix_option(view: View, colours: Colours, layer: str) -> Option:
    """The lower triangle of pairs, and a larger free pair in the empty corner, one layer of it.

    Layers are charts that lie on each other, so that a brush draws the kept designs anew and nothing else: ``ALL`` has axes and
    clicks, ``KEPT`` the kept designs, ``MARKS`` baseline, picked design and shortlist.
    """
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
        size = (2.2 if len(view.frame) > MANY else 2.7) + 0.6 * free
        series += _layer_series(layer, k, across, up, size, colours)
    shown = dimensions(view)
    kept = {"id": "kept", "fromDatasetId": "all", "transform": {"type": "filter", "config": view.chart_filter()}}
    dataset = [{"id": "all", "dimensions": shown, "source": []}, *([kept] if layer == KEPT else [])]
    if layer != ALL:
        for axis in (*across_axes, *up_axes):
            axis["show"] = False
    return {
        "animation": False, "backgroundColor": "transparent", "grid": grids, "xAxis": across_axes, "yAxis": up_axes,
        "series": series, "dataset": [] if layer == MARKS else dataset, "media": _media(view, grids, across_axes, up_axes),
    }  # fmt: skip


def _layer_series(layer: str, k: int, across: str, up: str, size: float, colours: Colours) -> list[Option]:
    dots: Option = {"type": "scatter", "xAxisIndex": k, "yAxisIndex": k, "animation": False}
    many = {**dots, "large": True, "largeThreshold": 200, "encode": {"x": across, "y": up}}
    if layer == ALL:
        return [{**many, "id": f"all{k}", "datasetIndex": 0, "symbolSize": size, "cursor": "crosshair",
                 "itemStyle": {"color": colours["rest"], "opacity": 0.7}}]  # fmt: skip
    if layer == KEPT:
        return [{**many, "id": f"kept{k}", "datasetIndex": 1, "symbolSize": size + 0.2, "silent": True,
                 "itemStyle": {"color": colours["design"], "opacity": 0.6}}]  # fmt: skip
    dots |= {"silent": True, "data": []}
    return [
        {**dots, "id": f"base{k}", "symbol": "diamond", "symbolSize": 12, "z": 4,
         "itemStyle": {"color": colours["baseline"], "borderColor": colours["paper"], "borderWidth": 1}},
        {**dots, "id": f"pick{k}", "symbol": "circle", "symbolSize": 15, "z": 5,
         "itemStyle": {"color": "transparent", "borderColor": colours["ink"], "borderWidth": 2}},
        {**dots, "id": f"short{k}", "symbol": "circle", "symbolSize": 7, "z": 6,
         "itemStyle": {"color": colours["paper"], "borderColor": colours["ink"], "borderWidth": 1.6},
         "label": {"color": colours["ink"], "textBorderColor": colours["paper"], "textBorderWidth": 2}},
    ]  # fmt: skip


def _media(view: View, grids: list[Option], across_axes: list[Option], up_axes: list[Option]) -> list[Option]:
    """On a narrow screen two panels stand beside each other and each has its own names."""
    places, across_narrow, up_narrow = [], [], []
    for k, (across, up) in enumerate(panels(view)):
        row, column = divmod(k, 2)
        places.append(NARROW_FREE if k == CORNER else {
            "left": f"{NARROW_LEFT[column]}%", "top": f"{NARROW_TOP + NARROW_DOWN * row:.1f}%", "width": f"{NARROW_WIDTH}%",
            "height": f"{NARROW_HEIGHT}%",
        })  # fmt: skip
        shown: Option = {"axisTick": {"show": True}, "axisLabel": {"show": True}}
        across_narrow.append({**shown, "id": f"across{k}", "name": _named(across), "nameLocation": "middle", "nameGap": 20})
        up_narrow.append({**shown, "id": f"up{k}", "name": _named(up), "nameLocation": "end", "nameGap": 5,
                          "nameTextStyle": {"align": "left", "padding": [0, 0, 0, -24]}})  # fmt: skip
    wide = [{name: axis[name] for name in ("id", "name", "nameLocation", "nameGap", "axisTick", "axisLabel", "nameTextStyle")}
            for axis in (*across_axes, *up_axes)]  # fmt: skip
    count = len(across_axes)
    return [
        {"query": {"maxWidth": NARROW}, "option": {"grid": places, "xAxis": across_narrow, "yAxis": up_narrow}},
        {"query": {"minWidth": NARROW + 1}, "option": {"grid": grids, "xAxis": wide[:count], "yAxis": wide[count:]}},
    ]


def _named(name: str) -> str:
    sense = maximised(name)
    return with_unit(name) + ("" if sense is None else " →" if sense else " ←")


def _axis(view: View, name: str, k: int, colours: Colours, shown: bool, *, across: bool, free: bool) -> Option:
    sense = maximised(name)
    arrow = "" if sense is None else " →" if sense else " ←"
    words = view.frame[name].dtype == object
    axis: Option = {
        "id": f"{'across' if across else 'up'}{k}",  # without it axes are told apart by their names, which change
        "gridIndex": k, "splitLine": {"show": False}, "splitNumber": 5 if free else 3,
        "axisTick": {"show": shown, "length": 3, "lineStyle": {"color": colours["line"]}},
        "axisLine": {"onZero": False, "lineStyle": {"color": colours["line"]}},
        "axisLabel": {"show": shown, "fontSize": 12, "color": colours["soft"], "fontFamily": FONT, "hideOverlap": True,
                      "showMinLabel": words, "showMaxLabel": words, "margin": 5},
        "name": (unit(name) if free else label(name)) + arrow if shown else "", "nameLocation": "end" if free else "middle",
        "nameGap": 6 if free else 22 if across else 34,
        "nameTextStyle": {"color": colours["ink"], "fontSize": 13, "fontFamily": FONT, "fontWeight": 500, "align": "center",
                          "padding": 0},
    }  # fmt: skip
    if words:
        names = [option if len(option) < 15 else option[:13] + "…" for option in view.options(name)]
        narrow = {"width": 64, "overflow": "truncate"} if not across else {"interval": 0, "width": 70, "overflow": "break"}
        return axis | {"type": "category", "data": names, "axisLabel": {**axis["axisLabel"], **narrow}, "nameGap": 8}
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
