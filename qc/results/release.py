"""Records of what is looked at before release: the visual inspection, what went in and came out, packing and label."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

from msgspec import Struct, field

from qc.results.messages import Limit, Message


class SeenDefect(Struct, frozen=True, kw_only=True):
    """One kind of defect that was seen, on which units, with what the trade knows of it.

    Parameters
    ----------
    defect : str
        The word of the vocabulary; `entered_as` holds the words that were typed.
    grade, grade_mark : str
        critical, major or minor; and how the grade is known ("our reading" or "house rule").
    units : tuple of str
        Names of the units, in the order of the batch.
    causes : tuple of str
        Usual causes, in words; `mark` and `source` say how they are known.
    remedy : str
    speaks_for : tuple of str
        Ids of the causes of the analysis that it speaks for.
    """

    defect: str
    entered_as: tuple[str, ...]
    grade: str
    grade_mark: str
    units: tuple[str, ...]
    causes: tuple[str, ...]
    remedy: str
    mark: str
    source: str
    speaks_for: tuple[str, ...] = ()


class SeenClass(Struct, frozen=True, kw_only=True):
    """How many units have a defect of one grade, beside the sampling plan where one was asked for.

    Parameters
    ----------
    grade : str
    units : tuple of str
        Each unit once, however many defects of the grade it has.
    aql_percent : Decimal or None
        Acceptable quality limit of the house [% of units]; None where none is set.
    plan : Message or None
        The sampling plan; None where none was asked for.
    met : bool or None
    """

    grade: str
    units: tuple[str, ...]
    aql_percent: Decimal | None = None
    plan: Message | None = None
    met: bool | None = None


class VisualInspection(Struct, frozen=True, kw_only=True):
    """The visual inspection of the units of a batch.

    Parameters
    ----------
    lot, looked_at : int
        Units in the batch, and units looked at.
    defects : tuple of SeenDefect
        The gravest first, then by number of units.
    classes : tuple of SeenClass
        critical, major, minor.
    unknown : mapping
        Words that are not known, each with the units they stand beside.
    """

    lot: int
    looked_at: int
    defects: tuple[SeenDefect, ...] = ()
    classes: tuple[SeenClass, ...] = ()
    unknown: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


class ActiveBalance(Struct, frozen=True, kw_only=True):
    """Active weighed beside active found.

    Parameters
    ----------
    active : str
    weighed_mg : Decimal
        As entered, in mg.
    in_units_mg, in_trimmings_mg, in_dish_mg : Fraction or Decimal or None
        Found [mg], exact; None where it was not measured and was not counted.
    found_mg, recovery_percent : Fraction
        Sum of what was counted [mg] and [% of weighed], exact.
    recovery_low_percent, recovery_high_percent : float or None
        95 % interval; None with a single assay.
    n : int
        Units assayed.
    """

    active: str
    weighed_mg: Decimal
    in_units_mg: Fraction
    in_trimmings_mg: Fraction | None
    in_dish_mg: Decimal | None
    found_mg: Fraction
    recovery_percent: Fraction
    recovery_low_percent: float | None
    recovery_high_percent: float | None
    n: int


class Reconciliation(Struct, frozen=True, kw_only=True):
    """What went into the batch against what came out of it.

    Parameters
    ----------
    melt_prepared_g, trimmings_g, melt_left_g : Decimal or None
        As entered [g].
    units_weighed : int
    units_g : Fraction or None
        Mass of all units obtained [g]; `units_estimated` says that not all were weighed, and then
        `units_low_g` and `units_high_g` are the 95 % interval.
    unaccounted_g, unaccounted_percent : Fraction or None
        Exact (estimated where the units are). Prepared less everything found [g], [% of melt prepared].
    units_obtained, units_rejected, units_sampled, units_released : int or None
        As entered.
    units_difference : int or None
        Obtained less released, rejected and sampled; 0 when the counts add up.
    theoretical_units, yield_percent : Fraction or None
        Exact. Units the melt would give, and obtained over that [%].
    planned_g : Fraction or None
        The planned mass by which the melt would give so many [g]; None where they are the units poured.
    actives : tuple of ActiveBalance
    missing : tuple of Message
        What was not entered and left a figure out.
    remarks : tuple of Message
        What does not add up.
    working : tuple of Message
        The arithmetic, line by line.
    """

    melt_prepared_g: Decimal | None = None
    trimmings_g: Decimal | None = None
    melt_left_g: Decimal | None = None
    units_weighed: int = 0
    units_g: Fraction | None = None
    units_estimated: bool = False
    units_low_g: float | None = None
    units_high_g: float | None = None
    unaccounted_g: Fraction | None = None
    unaccounted_percent: Fraction | None = None
    units_obtained: int | None = None
    units_rejected: int | None = None
    units_sampled: int | None = None
    units_released: int | None = None
    units_difference: int | None = None
    theoretical_units: Fraction | None = None
    planned_g: Fraction | None = None
    yield_percent: Fraction | None = None
    actives: tuple[ActiveBalance, ...] = ()
    missing: tuple[Message, ...] = ()
    remarks: tuple[Message, ...] = ()
    working: tuple[Message, ...] = ()


class UnitLedger(Struct, frozen=True, kw_only=True):
    """Where each unit that came out of the moulds went.

    Parameters
    ----------
    whole : int
        Units obtained, or poured where those obtained were not entered: the sum of the six below, unless more were used
        up than there are.
    weighed_and_kept, assayed, other_tests, rejected, retained, left : int
        Units: weighed and still there, used up by assays, by other tests, rejected, kept as samples, and the rest.
    released : int or None
        As entered; None where nothing was.
    released_at_most : int
        Weighed and kept, and left; none of a batch that does not comply.
    still_asked_for : int
        Units that the assays still asked for use up; of those that could be released now, these could not be then.
    limits : tuple of Limit
        The counts that were entered, each beside what it cannot be or must be.
    not_assayed : tuple of str
        Units entered that were neither assayed nor lost and are not asked for: those to be released are among them, and
        among what was not entered.
    """

    whole: int
    weighed_and_kept: int
    assayed: int
    other_tests: int
    rejected: int
    retained: int
    left: int
    released: int | None
    released_at_most: int
    still_asked_for: int = 0
    limits: tuple[Limit, ...] = ()
    not_assayed: tuple[str, ...] = ()

    @property
    def left_for_release(self) -> int:
        """Units that can be released once everything asked for is assayed."""
        return max(self.released_at_most - self.still_asked_for, 0)

    @property
    def used(self) -> int:
        """Units that cannot be released any more."""
        return self.assayed + self.other_tests + self.rejected + self.retained


class PackingLine(Struct, frozen=True, kw_only=True):
    """One line of the packing and label checklist.

    Parameters
    ----------
    item, text : str
        Id and words of the line.
    answer : str
        "yes", "no", "not applicable", "not readable" or "not entered".
    entered : str
        What stands in the record; `done_by` who wrote it.
    mark : str
        "common practice", or "house rule" for a line of the house.
    """

    item: str
    text: str
    answer: str
    entered: str = ""
    done_by: str = ""
    mark: str = ""


class PackingChecklist(Struct, frozen=True, kw_only=True):
    """The packing and label checklist of a batch; `started` where at least one line was answered."""

    lines: tuple[PackingLine, ...]
    started: bool

    @property
    def open_lines(self) -> tuple[PackingLine, ...]:
        """Lines without an answer that can be read."""
        return tuple(line for line in self.lines if line.answer in ("not entered", "not readable"))

    @property
    def refused_lines(self) -> tuple[PackingLine, ...]:
        """Lines answered no."""
        return tuple(line for line in self.lines if line.answer == "no")
