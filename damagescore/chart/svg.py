"""A chart as SVG that takes the page's own text colour, so that it suits light and dark."""

from html import escape

from damagescore.chart.record import COLOURS, Area, Chart, Dot, Line, Mark, Place, Style, Words

WIDEST_PX = 680


def to_svg(chart: Chart) -> str:
    """Text of an SVG that scales with the page, with its text alternative."""
    width, height = chart.size
    inner = "".join(_mark(m) for m in chart.marks)
    label = escape(f"{chart.title}. {chart.told}", quote=True)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" '
        f'role="img" aria-label="{label}" font-family="inherit" color="currentColor" '
        f'style="width:100%;max-width:{WIDEST_PX}px;height:auto;display:block">{inner}</svg>'
    )


def outline(dot: Dot) -> tuple[Place, ...]:
    """Corners of a dot that is no circle."""
    x, y = dot.at
    r = dot.size
    if dot.shape == "square":
        return ((x - r, y - r), (x + r, y - r), (x + r, y + r), (x - r, y + r))
    if dot.shape == "triangle":
        return ((x, y - 1.2 * r), (x + 1.15 * r, y + 0.9 * r), (x - 1.15 * r, y + 0.9 * r))
    return ((x, y - 1.3 * r), (x + 1.3 * r, y), (x, y + 1.3 * r), (x - 1.3 * r, y))


def _mark(mark: Mark) -> str:
    if isinstance(mark, Line):
        dash = f' stroke-dasharray="{" ".join(f"{d:g}" for d in mark.style.dash)}"'
        return (
            f'<polyline points="{_points(mark.points)}" fill="none" {_stroke(mark.style)}'
            f"{dash if mark.style.dash else ''}/>"
        )
    if isinstance(mark, Area):
        return (
            f'<polygon points="{_points(mark.points)}" fill="{_colour(mark.style)}" '
            f'fill-opacity="{mark.style.opacity:g}"/>'
        )
    if isinstance(mark, Words):
        return _words(mark)
    return _dot(mark)


def _dot(dot: Dot) -> str:
    fill = "none" if dot.hollow else _colour(dot.style)
    how = f'fill="{fill}" {_stroke(dot.style)}'
    inner = f"<title>{escape(dot.told)}</title>" if dot.told else ""
    if dot.shape == "circle":
        place = f'cx="{dot.at[0]:.1f}" cy="{dot.at[1]:.1f}" r="{dot.size:g}"'
        return f"<circle {place} {how}>{inner}</circle>"
    return f'<polygon points="{_points(outline(dot))}" {how}>{inner}</polygon>'


def _words(words: Words) -> str:
    x, y = words.at
    turn = f' transform="rotate(-90 {x:.1f} {y:.1f})"' if words.turned else ""
    place = f'x="{x:.1f}" y="{y:.1f}" font-size="{words.size:g}" text-anchor="{words.anchor}"'
    paint = f'fill="{_colour(words.style)}" fill-opacity="{words.style.opacity:g}"'
    return f"<text {place} {paint}{turn}>{escape(words.text)}</text>"


def _points(points: tuple[Place, ...]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)


def _stroke(style: Style) -> str:
    return (
        f'stroke="{_colour(style)}" stroke-width="{style.width:g}" '
        f'stroke-opacity="{style.opacity:g}"'
    )


def _colour(style: Style) -> str:
    return COLOURS[style.colour] or "currentColor"
