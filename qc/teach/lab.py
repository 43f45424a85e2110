"""A lesson at the terminal: buy measurements, see the probabilities move, name the cause; advice and key come last."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence

from msgspec.structs import replace

from qc.batch import Batch
from qc.causes.model import TAUGHT
from qc.causes.priors import builtin_priors
from qc.causes.weigh import CausesWeighed, weigh_causes
from qc.results import named_together
from qc.say.messages import paragraph, words
from qc.say.names import CAUSE, any_of
from qc.say.numbers import plain_limit, probability
from qc.simulate.record import on_record
from qc.teach.lesson import LessonProblem, Tray, make_lesson
from qc.teach.on_request import BASE_POURS, laboratory

MEASUREMENTS = {
    "assay": ("assay", "assay units whole"),
    "cut": ("cut_and_assay", "cut units, assay tip, middle and end"),
    "weigh": ("weighing", "weigh units again on another balance"),
    "base": ("base_pour", "pour plain base into cavities, twice"),
}
"""What may be asked for: what the priors call its effort, and what is done."""
MASSES_ONLY = Tray(assays=0, cut_units=0, base_pours=0)
LIKELIEST = 4


class Lab:
    """A teaching batch of which the masses are known, and what is left to spend on it.

    Parameters
    ----------
    fault : str
        A cause id, two joined by a plus sign, or `any` for one drawn by the seed.
    units, seed : int
    budget : float
        In the effort of weighing one unit.

    Raises
    ------
    LessonProblem
        When the batch cannot be made as it was asked for.
    """

    def __init__(self, fault: str, *, units: int, seed: int, budget: float) -> None:
        if budget <= 0.0:
            raise LessonProblem(f"a budget of {plain_limit(budget)} buys nothing: choose for example 150.")
        self.lesson = make_lesson(fault.split("+"), units=units, seed=seed, tray=MASSES_ONLY)
        self.batch: Batch = self.lesson.drawn.batch
        self.left, self.over = budget, False
        self._laboratory = laboratory(self.lesson)
        self._have: set[tuple[str, int]] = set()
        self._asked: list[str] = []
        self._advised: list[str] = []
        self._weighed = self._weigh()

    def opening(self) -> str:
        """The batch, what may be asked for, what it costs, and how likely each cause is by the masses."""
        masses, active = [f"{unit.name}: {unit.mass_g}" for unit in self.batch.units], self.batch.actives[0]
        given = active.displacement.given if active.displacement else "unknown"
        return "\n".join(
            (
                f"Batch {self.lesson.number}, {self.batch.product}: planned mass {self.batch.planned_mass_g} g,",
                f"{active.name} {active.label_claim_mg} mg a unit, displacement value {given}.",
                "Masses in pour order [g]:",
                *("  " + "   ".join(masses[at : at + 6]) for at in range(0, len(masses), 6)),
                f"You have {plain_limit(self.left)} to spend. Ask for:",
                *(
                    f"  {name:<6} 1 5-7   {means}, {plain_limit(_cost(name))} each"
                    for name, (_, means) in MEASUREMENTS.items()
                ),
                "  guess CAUSE    name the cause, or two; that ends the lesson",
                "The causes:",
                *(f"  {id:<19} {CAUSE[id]}" for id in TAUGHT),
                *self._likeliest({}),
            )
        )

    def answer(self, line: str) -> str:
        """What a line of the student brings about, in words; one that is not understood costs nothing."""
        name, *rest = line.split() or [""]
        if name == "guess":
            return self._guess(rest)
        if name not in MEASUREMENTS:
            return f'"{name}" is not known: ask for {", ".join(MEASUREMENTS)}, or guess.'
        most = self.lesson.drawn.recipe.holes if name == "base" else len(self.batch.units)
        try:
            numbers = _numbers(rest, most=most)
        except ValueError:
            return f'"{line.strip()}" cannot be done: give numbers from 1 to {most}, for example {name} 1 3-4.'
        new = [number for number in numbers if (name, number) not in self._have]
        if not new:
            return "That is known already."
        cost = _cost(name) * len(new)
        if cost > self.left:
            return f"That costs {plain_limit(cost)}, and {plain_limit(self.left)} is left."
        before = {one.cause: one.probability for one in self._weighed.causes}
        found = [self._measure(name, number) for number in new]
        self.left -= cost
        self._asked.append(f"{line.strip()} ({plain_limit(cost)})")
        self._weighed = self._weigh()
        return "\n".join((*found, *self._likeliest(before), f"{plain_limit(self.left)} left to spend."))

    def closing(self) -> str:
        """What the tool would have measured at each step, and the key."""
        self.over, lesson = True, self.lesson
        steps = zip([*(f"before {one}" for one in self._asked), "at the end"], self._advised, strict=True)
        made = f"qc lesson {lesson.fault} --units {len(self.batch.units)} --seed {lesson.seed}"
        return "\n".join(
            (
                "What the tool would have measured next, the most telling for its effort:",
                *(f"  {step}: {advice}" for step, advice in steps),
                f"What went wrong: {' and '.join(CAUSE[fault] for fault in lesson.faults)} ({lesson.fault}).",
                paragraph(lesson.drawn.story),
                f"The whole key: {made} --assays 0 --cut-units 0 --base-pours 0 --out key",
            )
        )

    def _guess(self, named: Sequence[str]) -> str:
        if not named:
            return "Name the cause, for example: guess sound"
        if unknown := [one for one in named if one not in TAUGHT]:
            near = difflib.get_close_matches(unknown[0], TAUGHT, n=1, cutoff=0.0)[0]
            return f'"{unknown[0]}" is no cause. Did you mean {near}?'
        right = {*named} & {*self.lesson.faults}
        said = "Right." if {*named} == {*self.lesson.faults} else "Right in part." if right else "Wrong."
        first = named_together(self._weighed.causes)[0]
        tool = f"By what you measured the tool says: {any_of(first.ids, first.probabilities)}."
        return f"{said} {tool}\n{self.closing()}"

    def _weigh(self) -> CausesWeighed:
        weighed = weigh_causes(self.batch)
        self._advised.append(next((words(one.what) for one in weighed.next_measurements), "Nothing: it is settled."))
        return weighed

    def _likeliest(self, before: Mapping[str, float]) -> list[str]:
        """The likeliest causes with their probability, and what it was before."""
        was = {id: f" (was {probability(chance)})" for id, chance in before.items()}
        shown = self._weighed.causes[:LIKELIEST]
        lines = [f"  {probability(one.probability):>9} {one.cause}{was.get(one.cause, '')}" for one in shown]
        return ["Likeliest now:", *lines]

    def _measure(self, name: str, number: int) -> str:
        """Add one result to the batch: of a unit or a cavity, counted from 1; and what was found."""
        self._have.add((name, number))
        batch, whole, cut, at = self.batch, self._laboratory.whole, self._laboratory.cut, number - 1
        if name == "weigh":
            again = replace(batch.units[at], weighed_again_g=whole.masses_g[at])
            self.batch = replace(batch, units=(*batch.units[:at], again, *batch.units[number:]))
            return f"  unit {number}: {again.mass_g} g, weighed again {again.weighed_again_g} g"
        assays, pours = on_record(whole if name == "assay" else cut, self.lesson.drawn.recipe)
        if name == "base":
            own = [pours[place] for place, (hole, _) in enumerate(cut.base_pours_g) if hole == at]
            self.batch = replace(batch, cavity_pours=(*batch.cavity_pours, *own))
            return f"  cavity {number}: {', '.join(str(one.base_mass_g) for one in own)} g of base"
        found = [one for one in assays if one.unit == str(number)]
        self.batch = replace(batch, assays=(*batch.assays, *found))
        parts = (f"{one.part} {one.content_mg} mg in {one.part_mass_g} g" for one in found)
        return f"  unit {number}: " + (f"{found[0].content_mg} mg" if name == "assay" else ", ".join(parts))


def _cost(name: str) -> float:
    return builtin_priors().number("effort", MEASUREMENTS[name][0]) * (BASE_POURS if name == "base" else 1)


def _numbers(given: Sequence[str], *, most: int) -> list[int]:
    """Numbers and ranges such as 1 5-7, each once, none beyond the last.

    Raises
    ------
    ValueError
        When there is none, or one that is no number from 1 to the last.

    Examples
    --------
    >>> _numbers(["1", "5-7"], most=24)
    [1, 5, 6, 7]
    """
    numbers: dict[int, None] = {}
    for one in given:
        first, _, last = one.partition("-")
        numbers |= dict.fromkeys(range(int(first), int(last or first) + 1))
    if not numbers or min(numbers) < 1 or max(numbers) > most:
        raise ValueError(given)
    return [*numbers]
