"""A new cause is one file and one line of the priors: it is drawn, weighed, paired and ranked with the others."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import qc.causes.models
from qc.causes.drawing import draw_batch
from qc.causes.model import CAUSE_IDS, cause
from qc.causes.priors import Priors, builtin_priors
from qc.causes.weigh import weigh_causes
from qc.simulate.pouring import Recipe

PACKAGE = Path(qc.causes.models.__file__ or "").parent
TOY = "chilled-mould"


@pytest.fixture
def toy_priors(monkeypatch: pytest.MonkeyPatch) -> Iterator[Priors]:
    """The folder of one more cause beside those of the package, and its line of the priors."""
    monkeypatch.setattr(qc.causes.models, "__path__", [*qc.causes.models.__path__, str(Path(__file__).parent / "toy")])
    sections = builtin_priors().sections
    yield Priors(sections={**sections, "prior": {**sections["prior"], TOY: 0.06}})
    sys.modules.pop("qc.causes.models.chilled_mould", None)


def test_a_cause_of_one_file_is_drawn_and_found(toy_priors: Priors) -> None:
    drawn = draw_batch([TOY], recipe=Recipe(), seed=1)
    assert set(drawn.physics) == {"more_percent"}
    weighed = weigh_causes(drawn.batch, priors=toy_priors)
    assert {one.cause for one in weighed.causes} == {*CAUSE_IDS, TOY}
    assert sum(one.probability for one in weighed.causes) == pytest.approx(1.0)
    assert weighed.causes[0].cause == TOY
    assert weighed.causes[0].evidence[0].id == "causes.mass_scatter"


def test_a_cause_of_one_file_is_found_together_with_another(toy_priors: Priors) -> None:
    drawn = draw_batch([TOY, "poor-mixing"], recipe=Recipe(), seed=1)
    weighed = weigh_causes(drawn.batch, priors=toy_priors)
    assert set(weighed.pairs[0].causes) == {TOY, "poor-mixing"}


def test_without_its_line_a_cause_is_not_weighed(toy_priors: Priors) -> None:
    weighed = weigh_causes(draw_batch([TOY], recipe=Recipe(), seed=1).batch)
    assert {one.cause for one in weighed.causes} == set(CAUSE_IDS)


def test_every_file_of_the_package_has_its_line_and_the_name_of_its_id() -> None:
    files = {path.stem for path in PACKAGE.glob("*.py")} - {"__init__"}
    assert files == {id.replace("-", "_") for id in CAUSE_IDS}
    assert [cause(id).id for id in CAUSE_IDS] == list(CAUSE_IDS)
