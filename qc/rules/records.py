"""Acceptance rules as frozen records: every number of a pharmacopoeia, with the page it stands on and how we know it.

A record is filled from one file in `qc/rules/data/`, named by the rule id. Nothing here judges.
"""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum

from msgspec import Struct

from qc.batch import Base


class Mark(StrEnum):
    """How a figure came to us; the report repeats it."""

    SEEN = "seen"
    FROM_MEMORY = "from memory"
    OUR_READING = "our reading"
    COMMON_PRACTICE = "common practice"
    HOUSE = "house rule"


class MassBasis(StrEnum):
    """What a mass is compared with."""

    SAMPLE_MEAN = "sample mean"
    LABELLED_MASS = "labelled mass, or the sample mean where none is labelled"


class Route(StrEnum):
    """How the content of a unit is found for the dosage-unit test."""

    CONTENT = "content uniformity"
    MASS = "mass variation"


class Reference(Struct, frozen=True, kw_only=True):
    """The page behind a rule: work, section, edition; and whether it was read or remembered."""

    work: str
    section: str
    edition: str
    mark: Mark
    read_in: str = ""


class Clause(Struct, frozen=True, kw_only=True):
    """One sentence of a rule in our own words, numbered, with its own mark."""

    number: str
    text: str
    mark: Mark


class Rule(Struct, frozen=True, kw_only=True):
    """What every rule record has."""

    id: str
    title: str
    test: str
    reference: Reference
    clauses: tuple[Clause, ...]
    builds_on: str = ""
    """Id of the built-in rule that a house rule tightens; empty for a built-in rule."""
    differs: tuple[str, ...] = ()
    """For a house rule: the fields it sets, each as "limit_percent: 5 -> 4"."""


class MassBand(Struct, frozen=True, kw_only=True):
    """A row of a mass table: which forms, which mean masses, which limits.

    `above_mg` and `below_mg` are exclusive ends, `from_mg` and `up_to_mg` inclusive ones; None is open.
    """

    forms: tuple[str, ...]
    limit_percent: Decimal
    outer_percent: Decimal
    mark: Mark
    above_mg: Decimal | None = None
    from_mg: Decimal | None = None
    below_mg: Decimal | None = None
    up_to_mg: Decimal | None = None


class MassExemption(Struct, frozen=True, kw_only=True):
    """Forms and mean masses that a mass rule leaves to another test, with the reason."""

    forms: tuple[str, ...]
    reason: str
    mark: Mark
    up_to_mg: Decimal | None = None


class MassRule(Rule, frozen=True, kw_only=True):
    """Uniformity of mass: a sample, a limit by form and mean mass, how many units may lie beyond it."""

    sample_size: int
    basis: MassBasis
    most_beyond_limit: int
    most_beyond_outer: int
    bands: tuple[MassBand, ...]
    exemptions: tuple[MassExemption, ...] = ()


class ContentRule(Rule, frozen=True, kw_only=True):
    """Uniformity of content about the sample's own mean, in one or two stages.

    `passes_with` units outside the inner limits still pass the first stage; up to `continues_with` the second stage
    follows; `second_passes_with` may lie outside among all units of both stages. None lies outside the outer limits.
    `second_size` 0 means that there is one stage only. `mean_low_percent` and `mean_high_percent` bound the mean in %
    of label where the rule does.
    """

    forms: tuple[str, ...]
    first_size: int
    second_size: int
    inner_percent: Decimal
    outer_percent: Decimal
    passes_with: int
    continues_with: int
    second_passes_with: int
    mean_low_percent: Decimal | None = None
    mean_high_percent: Decimal | None = None
    inner_applies: bool = True
    """False where only the outer limits bound single units (transdermal patches)."""


class RouteRow(Struct, frozen=True, kw_only=True):
    """A row of the table of forms: which route a form takes at or above the dose threshold, and otherwise."""

    forms: tuple[str, ...]
    at_threshold: Route
    otherwise: Route
    mark: Mark


class DosageUnitRule(Rule, frozen=True, kw_only=True):
    """Harmonised uniformity of dosage units: AV = |M - mean| + k s against L1, single units against L2 at stage 2."""

    first_size: int
    second_size: int
    first_k: Decimal
    second_k: Decimal
    l1_percent: Decimal
    l2_percent: Decimal
    reference_low_percent: Decimal
    reference_high_percent: Decimal
    rounding_decimals: int
    mass_route_dose_mg: Decimal
    mass_route_fraction_percent: Decimal
    routes: tuple[RouteRow, ...]


class MeanMassRule(Rule, frozen=True, kw_only=True):
    """The mean mass against the planned mass [% of plan]."""

    limit_percent: Decimal


class Direction(StrEnum):
    """On which side of its limit a result is to lie; a limit typed without a word is read so."""

    AT_MOST = "at most"
    AT_LEAST = "at least"


class CheckLimit(Struct, frozen=True, kw_only=True):
    """A row of a table of limits: which forms, which base (None: either), which limit [unit of the rule]."""

    forms: tuple[str, ...]
    limit: Decimal
    mark: Mark
    base: Base | None = None


class CheckRule(Rule, frozen=True, kw_only=True):
    """Another test of finished units, entered as a row of the Checks sheet under one of its `names`.

    `sample_size` 0 means that no source read gives one. Without `limits` the limit must come from the row itself.
    """

    names: tuple[str, ...]
    quantity: str
    unit: str
    direction: Direction
    sample_size: int
    limits: tuple[CheckLimit, ...] = ()
    base: Base | None = None
    """The only base the test is for; None where it serves both."""


class StatedCheckRule(Rule, frozen=True, kw_only=True):
    """A check with a limit of the laboratory's own: the words that say it was met, and that it was not."""

    complies_words: tuple[str, ...]
    fails_words: tuple[str, ...]


class AssayRule(Rule, frozen=True, kw_only=True):
    """The assay of a pooled sample against its limits [% of label]."""

    names: tuple[str, ...]
    low_percent: Decimal
    high_percent: Decimal


class SamplingCode(Struct, frozen=True, kw_only=True):
    """A row of the table of code letters: lot sizes, both ends included, and the letters of levels I, II and III."""

    lot_from: int
    lot_to: int
    letters: tuple[str, ...]
    mark: Mark


class SamplingColumn(Struct, frozen=True, kw_only=True):
    """A column of the master table with its arrows followed: one plan for each code letter of the rule."""

    aql_percent: Decimal
    sample_sizes: tuple[int, ...]
    accepts: tuple[int, ...]


class SamplingRule(Rule, frozen=True, kw_only=True):
    """Visual inspection: units counted against an attribute sampling plan; no quality limit (AQL) is built in.

    An AQL of 0 accepts no unit of that class, among all that were looked at.
    """

    inspection_level: int
    inspect_all_up_to: int
    letters: tuple[str, ...]
    letters_from_memory: tuple[str, ...]
    codes: tuple[SamplingCode, ...]
    columns: tuple[SamplingColumn, ...]
    aql_critical_percent: Decimal | None = None
    aql_major_percent: Decimal | None = None
    aql_minor_percent: Decimal | None = None


class PackingItem(Struct, frozen=True, kw_only=True):
    """One line of the packing and label checklist, with the other words that people write for it."""

    id: str
    text: str
    synonyms: tuple[str, ...] = ()
    mark: Mark = Mark.COMMON_PRACTICE


class PackingRule(Rule, frozen=True, kw_only=True):
    """The packing and label checklist; a house adds lines to it."""

    items: tuple[PackingItem, ...]


class ReconciliationRule(Rule, frozen=True, kw_only=True):
    """What went into the batch against what came out; every limit is the house's own [%]."""

    yield_low_percent: Decimal | None = None
    yield_high_percent: Decimal | None = None
    unaccounted_percent: Decimal | None = None
    recovery_low_percent: Decimal | None = None
    recovery_high_percent: Decimal | None = None


ReleaseRule = CheckRule | StatedCheckRule | AssayRule | SamplingRule | PackingRule | ReconciliationRule
UnitsRule = MassRule | ContentRule | DosageUnitRule | MeanMassRule
AnyRule = UnitsRule | ReleaseRule


class Asks(Struct, frozen=True, kw_only=True):
    """One line of a rule set: which rule it asks for, of which forms and doses.

    No form named means every form: one that the rule has no limit for is asked for too, and said to lack it.

    A dose lies under the threshold when its label claim is below `dose_below_mg` OR its share of the unit's mass is
    below `fraction_below_percent`. `actives` "under" means the test is asked of the actives under the threshold;
    "all" of every active. `unless_all_under` waives the test where every active is under that threshold.
    """

    rule: str
    forms: tuple[str, ...]
    required: bool
    actives: str = "all"
    dose_below_mg: Decimal | None = None
    fraction_below_percent: Decimal | None = None
    inclusive: bool = False
    """Whether a dose exactly at a threshold counts as under it ("5 mg or less")."""
    unless_all_under: bool = False
    mark: Mark = Mark.SEEN


class RuleSet(Struct, frozen=True, kw_only=True):
    """Which rules judge a batch: the default set judges whatever has its inputs; a book's set asks for what it asks."""

    id: str
    title: str
    asks: tuple[Asks, ...]
    reference: Reference | None = None
    notes: tuple[str, ...] = ()
