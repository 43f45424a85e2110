"""The words for what made a teaching batch as it is: sizes, times, densities, each with its unit of measure."""

from __future__ import annotations

from qc.say.numbers import told_apart

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
    "excess_percent": "Active weighed in excess [%]",
    "bias_percent": "Error of every assay [%]",
    "offset_percent": "Error of every weighing [%]",
    "leak_percent": "Lost by the units that leaked, mean [%]",
    "fall_percent": "Fall of the fill, first to last unit [%]",
    "drift_percent": "Drift of the balance, first to last weighing [%]",
    "meant": "Number that was read",
    "written": "Number that was written down",
}


def physics_line(name: str, value: float | str) -> tuple[str, str]:
    """What a figure of the physics is called, and the figure to four digits.

    Examples
    --------
    >>> physics_line("pour_minutes", 6.30271)
    ('Time of the pour [min]', '6.303')
    """
    return PHYSICS.get(name, name), value if isinstance(value, str) else told_apart(value, beside=None)
