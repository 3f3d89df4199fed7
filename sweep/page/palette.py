"""Colours of the page in two themes, the figures' own and a few more; as variables of its style sheet."""

from __future__ import annotations

from sweep.figures.style import DARK as FIGURES_DARK
from sweep.figures.style import LIGHT as FIGURES_LIGHT

LIGHT_THEME, DARK_THEME = "light", "dark"
#: beside the figures' colours: the page behind the sheets, designs that are not kept, hairlines, focus
LIGHT = {**FIGURES_LIGHT, "ground": "#eef0f2", "rest": "#b9bfc6", "hair": "#e3e6ea", "focus": "#005f99", "wash": "#eaf2f8"}
DARK = {**FIGURES_DARK, "ground": "#0e1013", "rest": "#4d5661", "hair": "#2a2f36", "focus": "#ffcf70", "wash": "#1c2b37"}
THEMES = {LIGHT_THEME: LIGHT, DARK_THEME: DARK}
FONT = "Barlow, 'DejaVu Sans Condensed', sans-serif"


def variables() -> str:
    """The style sheet's colours, light and dark."""
    def block(colours: dict[str, str]) -> str:
        return " ".join(f"--{name}: {colour};" for name, colour in colours.items())

    return (
        f":root {{ color-scheme: light; {block(LIGHT)} }}\n"
        f":root[data-theme=dark] {{ color-scheme: dark; {block(DARK)} }}"
    )
