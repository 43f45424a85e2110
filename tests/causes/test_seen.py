"""What the eye saw moves the probabilities a little, and says so among the evidence."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from msgspec.structs import replace

from qc.batch import Batch
from qc.causes.drawing import Drawn
from qc.causes.priors import builtin_priors
from qc.causes.weigh import weigh_causes, with_what_was_seen
from qc.results import CauseFound
from qc.say.messages import all_words, words

CAUSES = (
    CauseFound(cause="sound", probability=0.5, evidence=("Masses vary by 0.8 %.",)),
    CauseFound(cause="poor-mixing", probability=0.3),
    CauseFound(cause="uneven-fill", probability=0.2),
)


def with_seen(batch: Batch, *words: str) -> Batch:
    return replace(batch, units=(replace(batch.units[0], seen=words), *batch.units[1:]))


def test_a_defect_doubles_the_odds_of_its_cause_once_and_probabilities_still_add_up(
    draw: Callable[..., Drawn],
) -> None:
    batch = with_seen(draw("sound").batch, "mottled")
    told = with_what_was_seen(CAUSES, batch=batch, priors=builtin_priors())
    assert builtin_priors().number("seen", "supports") == 2.0
    assert [cause.cause for cause in told] == ["poor-mixing", "sound", "uneven-fill"]
    assert [cause.probability for cause in told] == pytest.approx([0.6 / 1.3, 0.5 / 1.3, 0.2 / 1.3])
    assert all_words(told[0].evidence) == (f"Seen on 1 unit of {len(batch.units)}: mottled.",)
    assert told[1].evidence == ("Masses vary by 0.8 %.",)


def test_words_that_speak_for_nothing_leave_the_odds_alone(draw: Callable[..., Drawn]) -> None:
    batch = with_seen(draw("sound").batch, "smooth")
    told = with_what_was_seen(CAUSES, batch=batch, priors=builtin_priors())
    assert [(cause.cause, cause.probability) for cause in told] == [(one.cause, one.probability) for one in CAUSES]


def test_the_weighing_hears_what_was_seen(draw: Callable[..., Drawn]) -> None:
    plain = draw("sound").batch
    before = {cause.cause: cause.probability for cause in weigh_causes(plain).causes}
    after = {cause.cause: cause for cause in weigh_causes(with_seen(plain, "mottled")).causes}
    assert after["poor-mixing"].probability > before["poor-mixing"]
    assert words(after["poor-mixing"].evidence[-1]).startswith("Seen on 1 unit of ")
    assert sum(cause.probability for cause in after.values()) == pytest.approx(1.0)
