"""The pictures of the chances of passing with caption, alternative text and the table behind them."""

from __future__ import annotations

from qc.results import JudgedBatch, OperatingCurve, PassPlane
from qc.say.names import TEST, in_words
from qc.say.numbers import fixed, probability
from qc.say.text import listed, shortened, shown_text
from qc.show import chances
from qc.show.pictures import picture
from qc.show.pieces import Picture, Piece, Table, number, table

ROWS_OF_TABLE = 9


def chance_pieces(judged: JudgedBatch) -> tuple[Piece, ...]:
    """Plane and curve of every test they were worked out for, each with its table."""
    pieces: list[Piece] = []
    for place, plane in enumerate(judged.pass_planes, start=1):
        pieces.append(plane_of_chances(plane, place=place))
    for place, curve in enumerate(judged.operating_curves, start=1):
        pieces += [curve_of_chances(curve, place=place), chance_table(curve)]
    return tuple(pieces)


def _named(one: PassPlane | OperatingCurve) -> str:
    name = in_words(one.test, TEST)
    return f"{name}, {shortened(shown_text(one.active), most=60)}" if one.active else name


def plane_of_chances(plane: PassPlane, *, place: int, whose: str = "this sample") -> Picture:
    """Lines of equal chance of passing over true mean and SD."""
    levels = ", ".join(f"{fixed(level * 100, decimals=0)} %" for level in plane.levels)
    said = f"Under a line, batches of that true mean and SD pass more often than it says ({levels})."
    if plane.region:
        said += (
            " The true mean and SD of this batch lie in the triangle with the confidence stated; "
            "the more of it lies under the lowest line, the surer another sample is to pass."
        ) + _beyond(plane)
    return picture(
        identifier=f"chances-{place}",
        title=f"Chance of passing over true mean and SD: {_named(plane)}",
        caption=said,
        what="Lines of equal chance of passing over the true mean and the true standard deviation",
        draw=lambda ax: chances.draw_pass_plane(ax, plane=plane, whose=whose),
        size=chances.SIZE,
    )


def _beyond(plane: PassPlane) -> str:
    """That sample and region go on beyond the picture, and how far."""
    told = ""
    if chances.sample_beyond(plane):
        mean, sd = (fixed(value, decimals=1) for value in (plane.sample_mean_percent, plane.sample_sd_percent))
        told = f" The sample lies beyond the picture, at mean {mean} %, SD {sd} %."
    sides = chances.region_goes_on(plane)
    if sides:
        means = [mean for mean, _ in plane.region]
        low, high = (fixed(end, decimals=1) for end in (min(means), max(means)))
        top = fixed(max(sd for _, sd in plane.region), decimals=1)
        places = {"left": "on the left", "right": "on the right", "above": "above"}
        told += (
            f" The triangle goes on beyond the picture {listed([places[side] for side in sides])}: "
            f"in all it holds means from {low} to {high} % and SDs up to {top} %."
        )
    return told


def curve_of_chances(curve: OperatingCurve, *, place: int, whose: str = "this sample") -> Picture:
    """The operating characteristic at one true mean."""
    name = chances.spread_name(curve)
    at_mean = (
        f"with a true mean of {fixed(curve.mean_percent, decimals=1)} % of label" if chances.of_label(curve) else ""
    )
    said = f"Chance of passing of batches {at_mean or 'by their RSD'}."
    if curve.sample_sd_percent is not None:
        said += f" {whose.capitalize()} has an {name} of {fixed(curve.sample_sd_percent, decimals=2)} %"
        if curve.sd_high_percent is not None:
            high = fixed(curve.sd_high_percent, decimals=2)
            said += f"; the true one is at most {high} %, with the confidence of the region"
        said += "."
        if chances.curve_end(curve) > curve.sds_percent[-1]:
            said += f" The curve was worked out up to {name} {fixed(curve.sds_percent[-1], decimals=1)} %."
    return picture(
        identifier=f"curve-{place}",
        title=f"Chance of passing along the {chances.spread_name(curve)}: {_named(curve)}",
        caption=said,
        what="Curves of the chance of passing over the true standard deviation",
        draw=lambda ax: chances.draw_operating_curve(ax, curve=curve, whose=whose),
        size=chances.SIZE,
    )


def chance_table(curve: OperatingCurve) -> Table:
    """The curve at a few SDs."""
    step = max((len(curve.sds_percent) - 1) // (ROWS_OF_TABLE - 1), 1)
    of_label = chances.of_label(curve)
    return table(
        f"Chance of passing at a true mean of {fixed(curve.mean_percent, decimals=1)} % of label"
        if of_label
        else "Chance of passing by the true RSD",
        list(zip(curve.sds_percent, curve.first_stage, curve.overall, strict=True))[::step],
        number("True SD [% of label]" if of_label else "True RSD [%]", lambda one: fixed(one[0], decimals=2)),
        number("Passes at the first stage", lambda one: probability(one[1])),
        number("Passes in all", lambda one: probability(one[2])),
    )
