"""The chances of passing of a planned batch as one HTML page: the answer, both pictures, and the tables behind them."""

from __future__ import annotations

from qc.results import OperatingCurve, PassPlane
from qc.show.chances import chance_table, curve_of_chances, plane_of_chances
from qc.show.pages_html import pages
from qc.show.pieces import Piece, Section, as_plain

CHANCE = "chance.html"
CAUTION = (
    "These chances are of the test alone, for units that are normally distributed and drawn at random. They release "
    "no batch; the pharmacopoeia in force and local procedure come first."
)


def chance_page(*, title: str, answer: tuple[Piece, ...], curve: OperatingCurve, plane: PassPlane | None = None) -> str:
    """The whole page, the same text on every run.

    Parameters
    ----------
    title : str
        What was asked.
    answer : tuple of Piece
        The answer, as the terminal has it.
    curve : OperatingCurve
        The chance of passing along the SD.
    plane : PassPlane, optional
        Over true mean and SD, where the test knows a mean.

    Returns
    -------
    str
        HTML with its style and its pictures inside; no script, and no request leaves the page.
    """
    drawn: list[Piece] = [] if plane is None else [plane_of_chances(plane, place=1, whose="the planned batch")]
    drawn += [curve_of_chances(curve, place=1, whose="the planned batch"), chance_table(curve)]
    sections = (
        Section(id="answer", title="The answer", pieces=answer),
        Section(id="pictures", title="The chance of passing", pieces=tuple(drawn)),
    )
    template = pages().get_template("chance.html")
    return template.render(title=title, sections=as_plain(sections), caution=CAUTION)
