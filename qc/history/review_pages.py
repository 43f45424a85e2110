"""The pages of a review: what was made, what changed and when, where the spread comes from, what is next."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from math import sqrt
from pathlib import Path
from typing import Any
from urllib.parse import quote

from qc.history.charts import SCORE_OF_95, individuals
from qc.history.components import Components
from qc.history.figures import BatchFigures
from qc.history.outlook import next_tests
from qc.history.pictures import series_picture, value_picture
from qc.history.products import BATCHES_A_FALSE_SIGNAL, OF_CAVITIES, BatchSeries, Product
from qc.history.review import Review, Signal, signals
from qc.history.wording import PART, change_in_words, decimals_of, of_series, worth_working_on
from qc.results import BatchVerdict
from qc.say.names import BATCH_VERDICT, CAUSE, TEST
from qc.say.numbers import fixed, interval, p_digits, probability, signed
from qc.say.text import counted, listed
from qc.show.pieces import ColumnOf, Marked, Piece, Prose, Section, column, facts, lines, number, section, table

LIKELY = 0.5
UNIT = "from unit to unit"
FEWEST_OF_ORDINARY = 20
# Acceptance value, mean and SD of an actives column; a review of four pages has room for the first two.
MOST_ACTIVES = 2
# Own simulation (tests/benchmarks/results/history.md): a step of 1.5 SD is shown 1.1 times as large with 25 batches on
# either side, 1.4 times with 10; one of 3 SD as it is.
SEEN_LARGE = (
    "A change is measured by the batches in which it was seen. One that is small beside the spread from batch to batch "
    "is seen only where chance made it look large: below twice that spread, and of few batches, the true change is "
    "probably smaller than shown."
)
CLOSING = "A sample of each batch was judged; a person released the batches. Head digest: {head}"


def review_sections(review: Review, *, head: str, name: str = "") -> tuple[Section, ...]:
    """The parts of a review of one product; `name` tells its pictures from those of others on the page."""
    product, found = review.product, signals(review)
    return (
        *section(f"short{name}", f"{_title(product)}: in short", *_in_short(review, found)),
        *section(f"charts{name}", "From batch to batch", *_charts(review, name)),
        *section(f"signals{name}", "Signals, and what was done", *_signals(found)),
        *section(f"spread{name}", "Between and within batches", *_spread(review)),
        *section(f"next{name}", "Causes, and the next batch", *_causes(product), *_next(review)),
        *section(f"batches{name}", "Every batch, rules and versions", *_record(product, head), annex=True),
    )


def _title(product: Product) -> str:
    name = product.name or "product not named"
    return name if not product.strength or product.strength in name else f"{name}, {product.strength}"


def _in_short(review: Review, found: Sequence[Signal]) -> Iterator[Piece]:
    product = review.product
    verdicts = Counter(one.verdict for one in product.batches)
    told = ", ".join(f"{BATCH_VERDICT[BatchVerdict(verdict)].lower()} {count}" for verdict, count in verdicts.items())
    released = sum(1 for one in product.batches if one.released)
    again = f", results superseded {len(product.superseded)}" if product.superseded else ""
    days = [one.day for one in product.batches if one.day]
    span = f" made from {min(days)} to {max(days)}" if days else ""
    many = counted(len(product.batches), "batch", "batches")
    yield Prose(text=f"{many}{span}: {told}{again}; with a quantity released {released}.")
    every = (*review.series, *review.cavities)
    changed = [change_in_words(product, one, change) for one in every for change in one.changes]
    alone: dict[str, list[str]] = {}
    for one in found:
        if not one.before:
            alone.setdefault(f"{one.batch.number} of {one.day}".strip(), []).append(f"{one.what} {one.after}")
    changed += [f"Batch {batch} lay apart by itself: {'; '.join(what)}" for batch, what in alone.items()]
    yield from lines(*changed, title="What changed") or lines(
        "No figure changed by as much as these charts can see", title="What changed"
    )
    yield Prose(text=_what_is_a_signal(review))


def _what_is_a_signal(review: Review) -> str:
    cavities = (
        f" and its {counted(len(review.cavities), 'cavity', 'cavities')} together one in {OF_CAVITIES}"
        if review.cavities
        else ""
    )
    few = " Of fewer than five batches nothing can be said." if len(review.product.batches) < 5 else ""
    return (
        f"A product of which nothing changes gives about one false signal in {BATCHES_A_FALSE_SIGNAL} batches over "
        f"these charts{cavities}, from the fifth batch on, where figures scatter normally, and four times as many "
        "where single batches lie far out. A signal is one batch beyond the limit, EWMA or CUSUM beyond theirs, or "
        "two levels that tell the batches far better than one. Where there is none, a small change "
        "may still be there. A change that is only just seen is shown greater than it is, one of a standard deviation "
        f"up to twice as great, and the intervals of its levels may miss them.{few}"
    )


def _charts(review: Review, name: str) -> Iterator[Piece]:
    actives = [one.of for one in review.series if one.id == "content-mean"][:MOST_ACTIVES]
    for place, one in enumerate(review.series):
        if not one.of or one.of in actives:
            yield series_picture(review.product, one, name=f"chart{name}-{place}")
    for place, active in enumerate(actives):
        values = [
            (at, content.acceptance_value)
            for at, batch in enumerate(review.product.batches)
            if (content := batch.contents.get(active)) is not None and content.acceptance_value is not None
        ]
        limits = [one.contents[active].limit for one in review.product.batches if active in one.contents]
        limit = next((one for one in limits if one is not None), None)
        if values and limit is not None:
            yield value_picture(review.product, values, name=f"value{name}-{place}", active=active, limit=limit)
    worn = [one for one in review.cavities if one.changes or one.followed.beyond]
    for place, one in enumerate(worn[:2]):
        yield series_picture(review.product, one, name=f"cavity{name}-{place}")


def _signals(found: Sequence[Signal]) -> Iterator[Piece]:
    yield table(
        "Each with the level before and after (95 % interval), when it most likely began, and what was noted then",
        found,
        column("When", lambda one: one.when),
        column("What", lambda one: one.what),
        column("Before", lambda one: one.before or None),
        column("After", lambda one: one.after),
        column("Noted", lambda one: one.noted or None),
        column("Seen at batch", lambda one: _linked(one.batch)),
    )
    if any(one.before for one in found):
        yield Prose(text=SEEN_LARGE)


def _linked(batch: BatchFigures) -> str:
    """The number of a batch, which leads to its report where that was filed."""
    name = batch.number or batch.day
    page = Path(batch.report) / "report.html"
    return Marked(name, to=f"file://{quote(str(page))}") if batch.report else name


def _spread(review: Review) -> Iterator[Piece]:
    parts: list[tuple[str, Components]] = [("the masses", review.mass)] if review.mass else []
    parts += [(f"the contents of {active}", found) for active, found in review.contents.items()]
    if not parts:
        yield Prose(text="Of fewer than five batches, or of two units each, no parts of the spread can be told.")
        return
    rows = [
        (what, name, variance, found)
        for what, found in parts
        for name, variance in (*((PART[of], one) for of, one in found.variances.items()), (UNIT, found.residual))
    ]
    shares: list[ColumnOf[Any]] = [
        column("Spread of", lambda row: row[0]),
        column("Part", lambda row: row[1]),
        number("SD [% of plan or label]", lambda row: fixed(sqrt(row[2]), decimals=2)),
        number("Share of the variance [%]", lambda row: fixed(100.0 * row[2] / row[3].total, decimals=0)),
    ]
    yield table("Variance components (mixed model, REML); a part that the data do not show is 0", rows, *shares)
    yield from lines(*(worth_working_on(what, found) for what, found in parts))
    yield table(
        f"Cavities light or heavy in batch after batch, of {len(review.cavities)} (t test, adjusted for all by Holm)",
        review.apart,
        column("Mould and cavity", lambda one: one.cavity),
        number("Batches", lambda one: one.batches),
        number("Off by [% of the batch mean]", lambda one: signed(one.effect, decimals=2)),
        number("95 % interval", lambda one: interval(one.low, one.high, decimals=2, sign=True)),
        number("p", lambda one: p_digits(one.p_value)),
    )


def _causes(product: Product) -> Iterator[Piece]:
    likely = Counter[str]()
    for one in product.batches:
        likely.update(cause for cause, chance in one.causes.items() if chance >= LIKELY)
    confirmed = Counter(product.confirmed.values())
    causes = sorted({*likely, *confirmed}, key=lambda cause: (-likely[cause], cause))
    yield table(
        f"Causes: found likelier than not ({probability(LIKELY)} or more), and confirmed",
        causes,
        column("Cause", lambda cause: CAUSE.get(cause, cause)),
        number("Batches", lambda cause: likely[cause]),
        number("Confirmed", lambda cause: confirmed[cause]),
    )


def _next(review: Review) -> Iterator[Piece]:
    ahead = [one for one in review.series if one.followed.spread > 0.0]
    yield table(
        "The next batch, if nothing changes: level now, between which values it lies with 95 % probability, and from "
        "twenty batches on the ordinary three-sigma limits from moving ranges (ISO 7870-2)",
        ahead,
        column("Figure", of_series),
        number("Level now", lambda one: fixed(one.shown(one.followed.level), decimals=decimals_of(one))),
        number("95 % prediction interval", _outlook),
        number("Limits of individuals", _ordinary),
        column("Unit", lambda one: one.unit),
    )
    creeping = [
        one
        for one in ahead
        if one.changes and one.changes[-1].kind == "creep" and one.changes[-1].last == len(one.points) - 1
    ]
    yield from lines(
        *(
            f"{of_series(one)} was still moving at the end: if it goes on, the next batch lies farther"
            for one in creeping
        )
    )
    yield table(
        "Chance that the next batch passes each test of single units, if nothing changes, rather too low than too "
        "high; batches that lay apart by themselves, such as those of a bad week, are not counted",
        list(next_tests(review.product.batches[-1], review.series)),
        column("Test", lambda one: TEST[one.test]),
        column("Of", lambda one: one.active or "the masses"),
        number("Chance", lambda one: probability(one.chance)),
    )


def _ordinary(one: BatchSeries) -> str | None:
    """The limits that any program for control charts gives for the batches of the level now."""
    _, values = one.levels[-1]
    if len(values) < FEWEST_OF_ORDINARY:
        return None
    chart = individuals(values)
    return interval(one.shown(chart.low), one.shown(chart.high), decimals=decimals_of(one))


def _outlook(one: BatchSeries) -> str:
    ends = (one.shown(one.followed.outlook(score)) for score in (-SCORE_OF_95, SCORE_OF_95))
    return interval(*ends, decimals=decimals_of(one))


def _record(product: Product, head: str) -> Iterator[Piece]:
    actives = sorted({active for one in product.batches for active in one.contents})[:MOST_ACTIVES]
    columns: list[ColumnOf[BatchFigures]] = [
        column("Made on", lambda one: one.day),
        column("Batch", _linked),
        column("Verdict", lambda one: _verdict(one)),
        number("Mass [g]", lambda one: fixed(one.mass.mean if one.mass else None, decimals=4)),
        number("SD [g]", lambda one: fixed(one.mass.sd if one.mass else None, decimals=4)),
    ]
    for active in actives:
        columns += [
            number(f"{active} [%]", _of_active(active, lambda one: one.mean, decimals=1)),
            number("SD [%]", _of_active(active, lambda one: one.sd, decimals=1)),
            number("AV", _of_active(active, lambda one: one.acceptance_value, decimals=1)),
        ]
    columns += [
        column("Made by", lambda one: one.made_by or None),
        column("Likeliest cause", lambda one: _likeliest(product, one)),
    ]
    yield table(
        "Every batch that stands, in the order in which it was made", product.batches, *columns, filled_alone=True
    )
    yield table(
        "Results that were superseded",
        product.superseded,
        column("Batch", lambda one: one.earlier.number),
        column("Judged at", lambda one: one.earlier.judged_at),
        column("Then", lambda one: _verdict(one.earlier)),
        column("Now", lambda one: _verdict(one.later)),
        column("Why", lambda one: one.later.because or None),
    )
    yield table(
        "What was noted", product.events, column("Day", lambda one: one.day), column("What", lambda one: one.text)
    )
    yield facts("Rules and versions used", list(_used(product.batches)), what="What", value="Edition, batches")
    yield Prose(
        text=f"Head digest of the history: {head}. With qc history verify --head and this digest it is seen whether "
        "entries were cut off or rewritten since."
    )


def _of_active(
    active: str, get: Callable[[Any], float | None], *, decimals: int
) -> Callable[[BatchFigures], str | None]:
    def shown(one: BatchFigures) -> str | None:
        found = one.contents.get(active)
        return None if found is None else fixed(get(found), decimals=decimals)

    return shown


def _verdict(one: BatchFigures) -> str:
    failed = f": {listed([TEST.get(test, test) for test in dict.fromkeys(one.failed)])}" if one.failed else ""
    return f"{BATCH_VERDICT[BatchVerdict(one.verdict)].lower()}{failed}"


def _likeliest(product: Product, one: BatchFigures) -> str | None:
    if (confirmed := product.confirmed.get(one.result_sha256)) is not None:
        return f"{confirmed} (confirmed)"
    likeliest = max(one.causes, key=lambda cause: one.causes[cause], default=None)
    return None if likeliest is None else f"{likeliest} {probability(one.causes[likeliest])}"


def _used(batches: Iterable[BatchFigures]) -> Iterator[tuple[str, str]]:
    rules, versions = Counter[tuple[str, str]](), Counter[str]()
    for one in batches:
        rules.update(one.rules.items())
        versions[one.qc_version] += 1
    for (rule, edition), many in sorted(rules.items()):
        yield rule, f"{edition} ({many})"
    for version, many in sorted(versions.items()):
        yield "qc", f"{version} ({many})"
