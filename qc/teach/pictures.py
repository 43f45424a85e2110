"""Small drawings of a teaching batch as SVG: the tray as it is and as it was measured, the pour, the parts."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from msgspec import Struct

from qc.batch import Part
from qc.causes.drawing import Drawn
from qc.show.palette import ACCENT, DRAWN, FAINT, INK, MUTED, deviation_colour, text_on

CELL = 34.0
COLUMNS = 6
WIDE, HIGH = 330.0, 190.0
LEFT, RIGHT, TOP, BOTTOM = 44.0, 10.0, 22.0, 32.0


class Dots(Struct, frozen=True, kw_only=True):
    """Points of one kind: pour order and value [%], hollow or filled, joined or not."""

    points: tuple[tuple[float, float], ...]
    label: str
    filled: bool = True
    joined: bool = False


def tray(drawn: Drawn, deviations: Sequence[float | None], *, title: str, reach: float) -> str:
    """The tray with every unit in its cavity, coloured by a deviation that is printed on it.

    Parameters
    ----------
    drawn : Drawn
        For the places of the units.
    deviations : sequence of float or None
        One a unit [%]; None where nothing was measured.
    title : str
        Stands above it.
    reach : float
        Where the colour is full [%].
    """
    recipe = drawn.recipe
    holes = recipe.moulds * recipe.cavities
    rows_a_mould = -(-recipe.cavities // COLUMNS)
    marks: list[str] = []
    y = 40.0
    for filling in range(-(-recipe.units // holes)):
        for mould in range(recipe.moulds):
            first = filling * holes + mould * recipe.cavities
            units = range(first, min(first + recipe.cavities, recipe.units))
            if not len(units):
                continue
            name = f"Mould {mould + 1}" + (f", filling {filling + 1}" if recipe.units > holes else "")
            marks.append(_text(8, y, name, size=10, colour=MUTED))
            for unit in units:
                at = unit - first
                x_unit, y_unit = 8 + (at % COLUMNS) * CELL, y + 6 + (at // COLUMNS) * CELL
                marks.append(_unit(x_unit, y_unit, str(unit + 1), deviations[unit], reach=reach))
            y += rows_a_mould * CELL + 22.0
    wide = 16 + min(COLUMNS, recipe.cavities) * CELL
    wide = max(wide, 230.0)
    said = "; ".join(f"unit {at + 1} {_signed(value)}" for at, value in enumerate(deviations) if value is not None)
    return _svg(wide, y - 8, title=title, description=said, marks=[_text(8, 18, title, size=12, bold=True), *marks])


def _unit(x: float, y: float, name: str, deviation: float | None, *, reach: float) -> str:
    colour = deviation_colour(deviation, reach=reach)
    ink = text_on(colour)
    middle = x + CELL / 2
    circle = (
        f'<circle cx="{middle:.1f}" cy="{y + CELL / 2:.1f}" r="{CELL / 2 - 1.5:.1f}" fill="{colour}" '
        f'stroke="{MUTED}" stroke-width="0.8"/>'
    )
    below = "" if deviation is None else _signed(deviation)
    return (
        circle
        + _text(middle, y + 14, name, size=10, bold=True, colour=ink, anchor="middle")
        + _text(middle, y + 26, below, size=9, colour=ink, anchor="middle")
    )


def pour_plot(groups: Sequence[Dots], *, units: int, title: str, unit: str, reach: float) -> str:
    """Values along the pour about a middle line, on a scale that is the same for all faults.

    Parameters
    ----------
    groups : sequence of Dots
        What is drawn.
    units : int
        Units poured.
    title, unit : str
        Heading, and the unit of measure on the axis.
    reach : float
        The axis runs from minus to plus this [%]; a point beyond it stands at the edge with an arrow.
    """

    def across(order: float) -> float:
        return LEFT + (order - 0.5) / units * (WIDE - LEFT - RIGHT)

    def up(value: float) -> float:
        held = max(-reach, min(reach, value))
        return TOP + (reach - held) / (2 * reach) * (HIGH - TOP - BOTTOM)

    marks = [_text(LEFT, 14, title, size=12, bold=True)]
    for level in (-reach, -reach / 2, 0.0, reach / 2, reach):
        width = 1.0 if level == 0.0 else 0.5
        marks.append(
            _line(LEFT, up(level), WIDE - RIGHT, up(level), colour=MUTED if level == 0.0 else FAINT, width=width)
        )
        marks.append(_text(LEFT - 5, up(level) + 3.5, _signed(level), size=10, anchor="end"))
    for order in sorted({1, units, *range(6, units, max(6, 6 * (units // 48)))}):
        marks.append(_text(across(order), HIGH - BOTTOM + 14, str(order), size=10, anchor="middle"))
    under = f"pour order; {unit}"
    marks.append(_text((LEFT + WIDE - RIGHT) / 2, HIGH - 4, under, size=10, colour=MUTED, anchor="middle"))
    said = []
    for number, group in enumerate(groups):
        colour = DRAWN if number == 0 else ACCENT
        if group.joined and len(group.points) > 1:
            path = " ".join(f"{across(order):.1f},{up(value):.1f}" for order, value in group.points)
            marks.append(f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="1.3"/>')
        for order, value in group.points:
            marks.append(
                _dot(
                    across(order),
                    up(value),
                    colour=colour,
                    filled=group.filled,
                    beyond=abs(value) > reach,
                    high=value > 0,
                )
            )
        said.append(f"{group.label}: " + ", ".join(f"{order:g} {_signed(value)}" for order, value in group.points))
    legend = "   ".join(f"{'●' if group.filled else '○'} {group.label}" for group in groups)
    marks.append(_text(WIDE - RIGHT, 14, legend, size=10, anchor="end", colour=MUTED))
    return _svg(WIDE, HIGH, title=title, description=". ".join(said), marks=marks)


def _dot(x: float, y: float, *, colour: str, filled: bool, beyond: bool, high: bool) -> str:
    if beyond:
        tip, base = (y - 5, y + 4) if high else (y + 5, y - 4)
        return f'<path d="M{x:.1f},{tip:.1f} L{x - 4.5:.1f},{base:.1f} L{x + 4.5:.1f},{base:.1f} Z" fill="{colour}"/>'
    fill = colour if filled else "#ffffff"
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="{fill}" stroke="{colour}" stroke-width="1.2"/>'


def parts_plot(drawn: Drawn, *, title: str, reach: float) -> str:
    """Tip, middle and end of the units that were cut, against the mean of the three, as found by assay."""
    wide, high = 250.0, HIGH
    marks = [_text(8, 14, title, size=12, bold=True)]
    found = parts_found(drawn)
    zero = 168.0
    scale = (wide - zero - 24.0) / reach
    said = []
    y = 34.0
    room = max(12.0, min(17.0, (high - 44.0) / max(1, 3 * len(found)) - 4.0))
    for unit, values in found:
        for part, value in values:
            held = max(-reach, min(reach, value))
            x = zero + min(0.0, held) * scale
            marks.append(_text(8, y + room - 4, f"unit {unit} {part}", size=9.5))
            marks.append(
                f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(abs(held) * scale, 0.8):.1f}" height="{room - 2:.1f}" '
                f'fill="{deviation_colour(value, reach=reach)}" stroke="{INK}" stroke-width="0.6"/>'
            )
            beside = x + max(abs(held) * scale, 0.8) + 3 if value >= 0 else x - 3
            marks.append(_text(beside, y + room - 4, _signed(value), size=9, anchor="start" if value >= 0 else "end"))
            said.append(f"unit {unit} {part} {_signed(value)}")
            y += room
        y += 6.0
    if not found:
        marks.append(_text(8, 40, "no unit was cut", size=10, colour=MUTED))
    marks.append(_line(zero, 26, zero, y, colour=MUTED, width=1.0))
    return _svg(wide, high, title=title, description="; ".join(said) or "no unit was cut", marks=marks)


def parts_found(drawn: Drawn) -> list[tuple[int, list[tuple[Part, float]]]]:
    """Of every unit cut: tip, middle and end by assay, concentration against the mean of the three [%]."""
    found: dict[int, dict[Part, float]] = {}
    for assay in drawn.written.assays:
        if assay.part is not Part.WHOLE and assay.active == 0 and assay.part_mass_g:
            found.setdefault(assay.unit, {})[assay.part] = float(assay.content_mg) / float(assay.part_mass_g)
    shown = []
    for unit, parts in sorted(found.items()):
        mean = sum(parts.values()) / len(parts)
        shown.append((unit + 1, [(part, 100.0 * (value / mean - 1.0)) for part, value in parts.items()]))
    return shown


def true_contents(drawn: Drawn) -> list[float]:
    """True content of the first active in every unit against its label [%]."""
    label = drawn.recipe.ingredients[0].label_mg
    return [100.0 * (float(content) / label - 1.0) for content in drawn.pour.content_mg(drawn.recipe)[0]]


def found_contents(drawn: Drawn) -> list[float | None]:
    """Content found by assay of whole units against the label [%]; None for a unit not assayed."""
    label = drawn.recipe.ingredients[0].label_mg
    found: list[float | None] = [None] * drawn.recipe.units
    for assay in drawn.written.assays:
        if assay.part is Part.WHOLE and assay.active == 0:
            found[assay.unit] = 100.0 * (float(assay.content_mg) / label - 1.0)
    return found


def true_masses(drawn: Drawn) -> list[float]:
    """True mass of every unit against the planned mass on record [%]."""
    planned = drawn.recipe.planned_g(drawn.pour.used_displacements)
    return [100.0 * (float(mass) / planned - 1.0) for mass in drawn.pour.mass_g(drawn.recipe)]


def written_masses(drawn: Drawn) -> list[float]:
    """Mass as it was written down against the planned mass on record [%]."""
    planned = drawn.recipe.planned_g(drawn.pour.used_displacements)
    return [100.0 * (float(mass) / planned - 1.0) for mass in drawn.written.masses_g]


def mass_and_content_plots(drawn: Drawn, *, mass_reach: float, content_reach: float) -> tuple[str, str]:
    """Masses along the pour, true and written; contents along the pour, true and found."""
    units = drawn.recipe.units
    masses = pour_plot(
        [_true(true_masses(drawn)), _found(written_masses(drawn), label="written down")],
        units=units,
        title="Mass",
        unit="% from plan",
        reach=mass_reach,
    )
    contents = pour_plot(
        [_true(true_contents(drawn)), _found(found_contents(drawn), label="by assay")],
        units=units,
        title="Content",
        unit="% from label",
        reach=content_reach,
    )
    return masses, contents


def _true(values: Sequence[float]) -> Dots:
    points = tuple((float(order), value) for order, value in enumerate(values, start=1))
    return Dots(points=points, label="true", filled=False, joined=True)


def _found(values: Sequence[float | None], *, label: str) -> Dots:
    points = tuple((float(order), value) for order, value in enumerate(values, start=1) if value is not None)
    return Dots(points=points, label=label)


def _signed(value: float) -> str:
    whole = round(value)
    return "0" if whole == 0 else f"{whole:+d}".replace("-", "\N{MINUS SIGN}")


def _text(
    x: float, y: float, text: str, *, size: float, bold: bool = False, colour: str = INK, anchor: str = "start"
) -> str:
    weight = ' font-weight="700"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" fill="{colour}" text-anchor="{anchor}"{weight}>'
        f"{escape(text)}</text>"
    )


def _line(x1: float, y1: float, x2: float, y2: float, *, colour: str, width: float) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}" stroke-width="{width:g}"/>'


def _svg(wide: float, high: float, *, title: str, description: str, marks: Sequence[str]) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {wide:.0f} {high:.0f}" width="{wide:.0f}" '
        f'height="{high:.0f}" font-family="DejaVu Sans, Helvetica, Arial, sans-serif">'
        f"<title>{escape(title)}</title><desc>{escape(description)}</desc>{''.join(marks)}</svg>"
    )
