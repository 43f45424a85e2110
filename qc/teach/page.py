"""The answer key as a page: what happened, the tray as it is and as it was measured, every unit, the working."""

from __future__ import annotations

from typing import Any

from qc.causes.catalogue import cause
from qc.causes.drawing import Drawn
from qc.results import JudgedBatch, NextMeasurement, TestResult
from qc.say.messages import words
from qc.say.names import TEST, VERDICT, in_words
from qc.say.numbers import fixed, probability
from qc.teach.gallery import CONTENT_REACH, MASS_REACH, PARTS_REACH
from qc.teach.pictures import (
    found_contents,
    mass_and_content_plots,
    parts_plot,
    tray,
    true_contents,
    true_masses,
    written_masses,
)
from qc.teach.style import laid_out

PHYSICS = {
    "particle_um": "Median particle size [µm]",
    "particle_spread": "Geometric standard deviation of the sizes [-]",
    "particle_density_g_cm3": "Density of the active [g/cm³]",
    "melt_density_g_cm3": "Density of the melt [g/cm³]",
    "viscosity_mpas": "Viscosity of the melt [mPa s]",
    "depth_mm": "Depth of the melt [mm]",
    "minutes_since_stir": "Time since the last stir [min]",
    "pour_minutes": "Time of the pour [min]",
    "solids_fraction": "Active, share of the volume [-]",
    "stirring": "Share stirred up before each unit [-]",
    "scraped": "Share of the deposit scraped up [-]",
    "scraping_units": "Last units that scrape",
    "excess": "Melt in excess of the units [-]",
    "share_left_in_dish": "Active left in the dish, share of what was weighed [-]",
    "length_mm": "Length of a unit [mm]",
    "minutes_to_set": "Time to set [min]",
    "tip": "Concentration of the tip over the unit [-]",
    "middle": "Concentration of the middle over the unit [-]",
    "end": "Concentration of the end over the unit [-]",
    "concentration_spread_percent": "Spread of the concentration [%]",
    "fill_spread_percent": "Spread of the fill [%]",
    "cavity_spread_percent": "Spread of the cavities [%]",
    "used_displacement": "Displacement value used [g of active that displaces 1 g of base]",
    "true_displacement": "True displacement value [g of active that displaces 1 g of base]",
    "lost_percent": "Active lost before the pour [%]",
    "drift_percent": "Drift of the balance, first to last weighing [%]",
    "meant": "Number that was read",
    "written": "Number that was written down",
}


def key_page(drawn: Drawn, *, key: dict[str, Any], judged: JudgedBatch) -> str:
    """The answer key as one page that needs nothing from anywhere.

    Parameters
    ----------
    drawn : Drawn
        The batch and its truth.
    key : dict
        The key as a document.
    judged : JudgedBatch
        The batch as it is judged from its workbook, for the working.
    """
    masses, contents = mass_and_content_plots(drawn, mass_reach=MASS_REACH, content_reach=CONTENT_REACH)
    return laid_out(
        "lesson_key.html",
        key=key,
        product=judged.batch.product,
        number=judged.batch.number,
        typed=[str(mass) for mass in drawn.written.masses_g],
        trays=_trays(drawn),
        plots=[masses, contents, parts_plot(drawn, title="Parts of a unit, %", reach=PARTS_REACH)],
        causes=judged.causes,
        cause_title=_cause_title,
        words=words,
        next_measurements=judged.next_measurements,
        tests=[test for test in judged.tests if test.working],
        planned=judged.planned_mass.working if judged.planned_mass is not None else "",
        physics=[(PHYSICS.get(name, name), _shown(value)) for name, value in drawn.physics.items()],
        chance=probability,
        settles=_settles,
        test_heading=_test_heading,
    )


def _trays(drawn: Drawn) -> list[str]:
    return [
        tray(drawn, true_masses(drawn), title="True mass", reach=MASS_REACH / 2),
        tray(drawn, written_masses(drawn), title="Mass as written down", reach=MASS_REACH / 2),
        tray(drawn, true_contents(drawn), title="True content", reach=CONTENT_REACH / 2),
        tray(drawn, found_contents(drawn), title="Content by assay", reach=CONTENT_REACH / 2),
    ]


def _shown(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:.4g}"


def _cause_title(id: str) -> str:
    """The title of a cause as a heading begins."""
    title = cause(id).title
    return title[0].upper() + title[1:]


def _test_heading(test: TestResult) -> str:
    """A test in words, with what it was judged by and its verdict."""
    name = in_words(test.id, TEST)
    named = f"{name}, {test.active}" if test.active else name
    return f"{named}: {VERDICT[test.verdict]}"


def _settles(measurement: NextMeasurement) -> str:
    """How much of what is open about the cause a measurement is expected to settle, in plain words."""
    if measurement.settles is None:
        return ""
    return f"It is expected to settle {fixed(100 * measurement.settles, decimals=0)} % of what is open about the cause."
