"""The chance that a batch which is not ideal passes: it drifts, is mixed of two, is small, or is assayed with error."""

from __future__ import annotations

from typing import TYPE_CHECKING

from qc.jobs.chance import Chance, answer
from qc.jobs.chance.question import Question
from qc.jobs.chance.text import title
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.kinds.mass.record import MassRule
from qc.say.numbers import probability
from qc.show.pages_text import text_page
from qc.show.pieces import Prose, column, number, table

if TYPE_CHECKING:
    from qc.assurance.departures import Departure, SimulatedChances

BATCHES = 100_000


def departed_chance(
    asked: Question, departure: Departure, *, batches: int = BATCHES
) -> tuple[SimulatedChances, Chance]:
    """The simulated chances of a batch that is not ideal, and those of an ideal one of the same mean and SD.

    Parameters
    ----------
    asked : Question
    departure : Departure
    batches : int
        Batches to simulate.

    Returns
    -------
    SimulatedChances, Chance

    Raises
    ------
    ValueError
        When the rule has no chance of passing to simulate, or a figure cannot be used.
    """
    from qc.assurance.departures import simulated_chances

    record = asked.rule
    if not isinstance(record, DosageUnitRule | ContentRule | MassRule):
        raise ValueError(f'the rule "{record.id}" judges no sample of units. Give a rule of units, see qc rules')
    simulated = simulated_chances(
        departure,
        rule=record,
        band=asked.band,
        target_percent=asked.target_percent,
        rounded=asked.rounded,
        batches=batches,
    )
    return simulated, answer(asked, departure.mean, departure.sd)


def departed_document(departure: Departure, simulated: SimulatedChances, ideal: Chance) -> dict[str, object]:
    """The figures of both for other programs."""
    return {
        "test": ideal.test,
        "rule": ideal.rule,
        "units": departure.units,
        "mean_percent": departure.mean,
        "sd_percent": departure.sd,
        "drift_percent": departure.drift,
        "other_fraction": departure.other_fraction,
        "other_shift_percent": departure.other_shift,
        "assay_sd_percent": departure.assay_sd,
        "as_made": departure.as_made,
        "sampling": departure.sampling.name.lower(),
        "pass_first_stage": simulated.pass_first_stage,
        "pass_overall": simulated.pass_overall,
        "standard_error_first": simulated.standard_error_first,
        "standard_error_overall": simulated.standard_error_overall,
        "batches": simulated.batches,
        "seed": simulated.seed,
        "ideal_pass_first_stage": ideal.pass_first_stage,
        "ideal_pass_overall": ideal.pass_overall,
    }


def departed_text(departure: Departure, simulated: SimulatedChances, ideal: Chance) -> str:
    """Both in words, lines of 80 columns at most."""
    about = "of label" if ideal.test == "dosage-unit-uniformity" else "of the mean"
    facts = [
        f"{departure.units} units of mean {departure.mean:g} % and SD {departure.sd:g} % {about}"
        + (", these very units" if departure.as_made else "")
    ]
    if departure.drift:
        facts.append(f"a drift of {departure.drift:+g} % from the first unit to the last")
    if departure.other_fraction:
        facts.append(f"a share of {departure.other_fraction:g} of the units {departure.other_shift:+g} % off the rest")
    if departure.assay_sd:
        facts.append(f"an assay error of {departure.assay_sd:g} % on top")
    chances = table(
        f"{'; '.join(facts)}; sampled {departure.sampling.value}",
        (
            ("at the first stage", simulated.pass_first_stage, ideal.pass_first_stage),
            ("in all", simulated.pass_overall, ideal.pass_overall),
        ),
        column("Passes", lambda row: row[0]),
        number("This batch", lambda row: probability(row[1], decimals=2)),
        number("An ideal one of this mean and SD", lambda row: _one_chance(row[2])),
    )
    how = Prose(
        text=f"This batch: {simulated.batches} simulated batches, seed {simulated.seed}, standard error "
        f"{100 * simulated.standard_error_overall:.2g} percentage points. The ideal one is endless, does not drift "
        "and is calculated without random numbers. In a batch too small for a second stage, a sample that would "
        "need one does not pass."
    )
    return text_page((Prose(text=title(ideal)), chances, how))


def _one_chance(chance: object) -> str:
    if not isinstance(chance, float):
        raise TypeError(f"{chance} is not one chance")
    return probability(chance, decimals=2)
