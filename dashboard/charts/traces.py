"""Charts of records against time: one blow with its marks, and several laid over each other."""

import altair as alt
import pandas as pd

from dyntest.presenting import palette
from dyntest.presenting.frames import TIME, thinned

from .. import look
from ..charts.base import DASHES, MOST_POINTS, axis, finish, layered, named, zoom

_OTHERS = ((palette.INK, "solid"), ("#d2691e", "dashed"), (palette.ACCENT, "dotted"), (palette.WARNING, "dashdot"))
"""Colour and style of traces that the palette does not name, in their order."""


def blow_chart(
    frame: pd.DataFrame, window: tuple[float, float], marks: dict[str, float], soil_free: float, height: int = 290
) -> alt.LayerChart:
    """Give the traces of one blow with the times that matter, and the part that no soil can have reached shaded."""
    styles = {
        name: palette.TRACES.get(name, _OTHERS[place % len(_OTHERS)])
        for place, name in enumerate(frame["trace"].unique())
    }
    inside = {name: moment for name, moment in marks.items() if window[0] <= moment <= window[1]}
    layers: list[alt.Chart | alt.LayerChart] = [_shade(soil_free, window)] if soil_free > 0.0 else []
    layers += [*lines(frame, window, styles), _marks(inside)]
    heights = ", ".join(f"{name} at {moment:.1f} ms" for name, moment in inside.items())
    described = f"{frame.columns[1]} against {TIME}: {', '.join(styles)}. {heights}."
    return finish(layered(*layers), height, described)


def overlay_chart(
    frame: pd.DataFrame, window: tuple[float, float], styles: dict[str, tuple[str, str]], height: int = 320
) -> alt.LayerChart:
    """Give one trace of several blows, each from the time its impact begins."""
    described = f"{frame.columns[1]} against {TIME} of {', '.join(styles)}, aligned at impact."
    return finish(layered(*lines(frame, window, styles)), height, described)


def overlay_styles(kinds: dict[str, str]) -> dict[str, tuple[str, str]]:
    """Give colour and line style of each blow by its name: the colour of its kind of drive, and a style of its own."""
    styles: dict[str, tuple[str, str]] = {}
    seen: dict[str, int] = {}
    for name, kind in kinds.items():
        place = seen[kind] = seen.get(kind, -1) + 1
        styles[name] = (palette.DRIVES[kind], list(DASHES)[place % len(DASHES)])
    return styles


def lines(
    frame: pd.DataFrame, window: tuple[float, float], styles: dict[str, tuple[str, str]], *, under: str | None = None
) -> list[alt.Chart]:
    """Give the lines with zoom, and a rule that follows the pointer with every value; `under` is broad and below."""
    cut = frame[frame[TIME].between(*window)]
    value = frame.columns[1]
    drawn, titles = named(thinned(cut, value, "trace", MOST_POINTS))
    colours = [look.colour(colour) for colour, _ in styles.values()]
    dashes = [DASHES[dash] for _, dash in styles.values()]
    scale = alt.Scale(domain=list(window), nice=False)
    legend = alt.Legend(orient="top", columns=3 if len(styles) > 2 else 2, symbolStrokeWidth=2.5, title=None)
    x = alt.X("c0:Q", axis=axis(titles["c0"]), scale=scale)
    y = alt.Y("c1:Q", axis=axis(titles["c1"]))
    shared = {
        "color": alt.Color("c2:N", scale=alt.Scale(domain=list(styles), range=colours), legend=legend),
        "strokeDash": alt.StrokeDash("c2:N", scale=alt.Scale(domain=list(styles), range=dashes), legend=legend),
    }
    layers = []
    for part, broad in ((drawn[drawn["c2"] == under], 4.5), (drawn[drawn["c2"] != under], 1.8)):
        if len(part):
            line = alt.Chart(part).mark_line(strokeWidth=broad, opacity=0.6 if broad > 2 else 1.0, clip=True)
            layers.append(line.encode(x=x, y=y, **shared))
    layers[0] = layers[0].add_params(zoom("zoom"))
    return [*layers, _read_out(drawn, value, list(styles))]


def _read_out(drawn: pd.DataFrame, value: str, names: list[str]) -> alt.Chart:
    """Give the rule under the pointer."""
    unit = value.partition("[")[2].rstrip("]")
    wide = drawn.pivot_table(index="c0", columns="c2", values="c1", aggfunc="first").reindex(columns=names)
    wide = wide.interpolate(limit_area="inside")
    digits = 2 if drawn["c1"].abs().max() < 100.0 else 0
    words = {"time": [f"{moment:.2f} ms" for moment in wide.index]}
    for place, name in enumerate(names):
        words[f"t{place}"] = [f"{number:,.{digits}f} {unit}" if number == number else "–" for number in wide[name]]
    data = pd.DataFrame({"x": wide.index, **words})
    near = alt.selection_point(name="near", nearest=True, on="pointerover", encodings=["x"], empty=False)
    tips = [alt.Tooltip("time:N", title="time after impact")]
    tips += [alt.Tooltip(f"t{place}:N", title=name) for place, name in enumerate(names)]
    return (
        alt.Chart(data)
        .mark_rule(color=look.colour(palette.QUIET), strokeWidth=1.5)
        .encode(x="x:Q", opacity=alt.condition(near, alt.value(0.9), alt.value(0.0)), tooltip=tips)
        .add_params(near)
    )


def _shade(until: float, window: tuple[float, float]) -> alt.LayerChart:
    data = pd.DataFrame({"a": [max(0.0, window[0])], "b": [min(until, window[1])], "t": ["no soil yet"]})
    band = alt.Chart(data).mark_rect(color=look.colour(palette.ACCENT), opacity=0.13).encode(x="a:Q", x2="b:Q")
    words = alt.Chart(data).mark_text(color=look.colour(palette.ACCENT), align="left", dx=4, dy=-8, y="height")
    return layered(band, words.encode(x="a:Q", text="t:N"))


def _marks(inside: dict[str, float]) -> alt.LayerChart:
    data = pd.DataFrame({"m": list(inside.values()), "t": list(inside), "row": range(len(inside))})
    colour = look.colour(palette.ACCENT)
    rules = alt.Chart(data).mark_rule(color=colour, strokeWidth=1.2).encode(x="m:Q")
    layers = [rules]
    for row, name in enumerate(inside):  # one above the other, since impact and first peak lie close together
        words = alt.Chart(data[data["t"] == name]).mark_text(color=colour, align="left", dx=4, y=8 + 15 * row)
        layers.append(words.encode(x="m:Q", text="t:N"))
    return layered(*layers)
