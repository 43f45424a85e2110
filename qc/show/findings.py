"""What was found beyond the verdict: change over the pour, causes, and what the data assure."""

from __future__ import annotations

from math import ceil, floor

from qc.results import Assurance, JudgedBatch, NextMeasurement, Trend
from qc.say.messages import all_words, paragraph, words
from qc.say.names import CAUSE, TEST, TREND, in_words, said, shortened, test_title, true_minus
from qc.say.numbers import NOTHING, chance, fixed, percent, signed
from qc.show.chance_pictures import chance_pieces
from qc.show.view import Column, Lines, Piece, Section, Table

ABOUT_A_BOUND = (Column(head="Test"), Column(head="Active"), Column(head="Confidence", number=True))


def pour_order(judged: JudgedBatch) -> tuple[Section, ...]:
    """The trend of every series of the batch."""
    if judged.pour_trend is None:
        return ()
    found = judged.pour_trend
    series = [
        ("mass", found.mass),
        *((f"content of {active}", trend) for active, trend in found.content.items()),
        *((f"concentration of {active}", trend) for active, trend in found.concentration.items()),
    ]
    table = Table(
        caption="Change from the first unit to the last, in percent of the mean",
        columns=(
            Column(head="Series"),
            Column(head="Units", number=True),
            Column(head="Finding"),
            Column(head="Change [%]", number=True),
            Column(head="95 % interval [%]", number=True),
            Column(head="p", number=True),
            Column(head="Would have shown [%]", number=True),
        ),
        rows=tuple(_trend_row(shortened(name, most=50), trend) for name, trend in series),
    )
    told = tuple(said(words(trend.sentence)) for _, trend in series if trend.sentence)
    pieces: tuple[Piece, ...] = (table, *((Lines(items=told),) if told else ()))
    return (Section(id="pour-order", title="What happened over the pour", pieces=pieces),)


def beside_the_change(trend: Trend | None) -> tuple[Lines, ...]:
    """What belongs under the picture of a series: how cavity differences were dealt with, and what is not excluded."""
    if trend is None:
        return ()
    items = tuple(said(words(text)) for text in (trend.correction, *trend.not_excluded) if text)
    return (Lines(items=items),) if items else ()


def _trend_row(name: str, trend: Trend) -> tuple[str, ...]:
    low, high = trend.change_low_percent, trend.change_high_percent
    interval = NOTHING if low is None or high is None else f"{signed(low, decimals=1)} to {signed(high, decimals=1)}"
    p_value = trend.p_value
    return (
        name,
        str(trend.n),
        TREND[trend.flag],
        signed(trend.change_percent, decimals=1),
        interval,
        "<\N{NO-BREAK SPACE}0.0001" if p_value is not None and p_value < 0.0001 else fixed(p_value, decimals=4),
        fixed(trend.detectable_percent, decimals=1),
    )


def causes(judged: JudgedBatch) -> tuple[Section, ...]:
    """Possible causes with their probability and evidence, most probable first."""
    if not judged.causes:
        return ()
    ordered = sorted(judged.causes, key=lambda cause: -cause.probability)
    table = Table(
        caption="Possible causes, most probable first; the probabilities add up to 100 %",
        columns=(Column(head="Probability", number=True), Column(head="Cause"), Column(head="Evidence")),
        rows=tuple(
            (
                chance(cause.probability, decimals=1),
                in_words(cause.cause, CAUSE),
                true_minus(" ".join(all_words(cause.evidence))) or NOTHING,
            )
            for cause in ordered
        ),
    )
    pieces: list[Piece] = [table]
    if judged.cause_pairs:
        pieces.append(
            Table(
                caption="Two causes at once that explain the measurements better than either alone",
                columns=(Column(head="Probability", number=True), Column(head="Causes"), Column(head="Evidence")),
                rows=tuple(
                    (
                        chance(pair.probability, decimals=1),
                        " and ".join(in_words(cause, CAUSE) for cause in pair.causes),
                        true_minus(words(pair.sentence)) or NOTHING,
                    )
                    for pair in judged.cause_pairs
                ),
            )
        )
    if judged.next_measurements:
        pieces.append(
            Table(
                caption="What would tell the causes apart, the most telling for its effort first",
                columns=(
                    Column(head="Measurement"),
                    Column(head="Units"),
                    Column(head="Expected to settle [% of what is open]", number=True),
                ),
                rows=tuple(
                    (
                        words(measurement.what),
                        ", ".join(measurement.units) or NOTHING,
                        _settles(measurement),
                    )
                    for measurement in judged.next_measurements
                ),
            )
        )
    return (Section(id="causes", title="Possible causes", pieces=tuple(pieces)),)


def _settles(measurement: NextMeasurement) -> str:
    """The share of the open question that a measurement is expected to settle, in whole percent."""
    if measurement.open_bits <= 0:
        return NOTHING
    return fixed(100 * min(measurement.bits / measurement.open_bits, 1.0), decimals=0)


def assurance(judged: JudgedBatch) -> tuple[Section, ...]:
    """What the data in hand assure about another sample, and about the units that are left."""
    if not judged.assurance:
        return ()
    table = Table(
        caption="What these data assure about another sample of the same batch",
        columns=(
            *ABOUT_A_BOUND,
            Column(head="Passes at least", number=True),
            Column(head="Tolerance interval [%]", number=True),
            Column(head="of the units", number=True),
        ),
        rows=tuple(
            (
                *_about(found),
                chance(found.pass_chance_low, decimals=1),
                _interval(found.tolerance_low_percent, found.tolerance_high_percent),
                percent(found.coverage * 100, decimals=0),
            )
            for found in judged.assurance
        ),
    )
    rest = _units_left(judged)
    told = tuple(_of_test(found, judged) for found in judged.assurance if found.said)
    pieces: tuple[Piece, ...] = (
        table,
        *(() if rest is None else (rest,)),
        *((Lines(items=told),) if told else ()),
        *chance_pieces(judged),
    )
    return (Section(id="assurance", title="How sure", pieces=pieces),)


def _about(found: Assurance) -> tuple[str, str, str]:
    """What a bound is about, and how sure it is."""
    return in_words(found.test, TEST), found.active or NOTHING, percent(found.confidence * 100, decimals=0)


def _units_left(judged: JudgedBatch) -> Table | None:
    """What is assured about the units that are left; None where none is, or their number is not known."""
    known = [found for found in judged.assurance if found.units_left]
    if not known:
        return None
    return Table(
        caption="What they assure about the units of this batch that are left",
        columns=(
            *ABOUT_A_BOUND,
            Column(head="Units left", number=True),
            Column(head="of them", number=True),
            Column(head="lie between [%]", number=True),
            Column(head="Outside in the whole batch, at most", number=True),
        ),
        rows=tuple(
            (
                *_about(found),
                str(found.units_left),
                _held(found),
                _outward(found.left_low_percent, found.left_high_percent),
                NOTHING if found.outside_at_most is None else str(found.outside_at_most),
            )
            for found in known
        ),
    )


def _of_test(found: Assurance, judged: JudgedBatch) -> str:
    titles = {(test.id, test.active): test_title(test) for test in judged.tests}
    return f"{titles.get((found.test, found.active), in_words(found.test, TEST))}. {said(paragraph(found.said))}"


def _held(found: Assurance) -> str:
    """How many of the units left the interval holds."""
    if found.left_within is None:
        return NOTHING
    return "all" if found.left_within == found.units_left else f"at least {found.left_within}"


def _outward(low: float | None, high: float | None) -> str:
    """An interval rounded outward, so that what is said of the units inside stays true."""
    return NOTHING if low is None or high is None else _interval(floor(low * 10) / 10, ceil(high * 10) / 10)


def _interval(low: float | None, high: float | None) -> str:
    return NOTHING if low is None or high is None else f"{fixed(low, decimals=1)} to {fixed(high, decimals=1)}"
