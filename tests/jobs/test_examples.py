"""The example reports that are kept say what a judging of the samples says today."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from make_examples import FIRST_PAGE, KEPT, example_files, readable_samples, write_examples

from qc.document import as_text
from qc.jobs.check import Checked
from qc.show.filing import HTML, JSON, PDF, SUMS

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "reports" / "examples"
SAMPLES = ROOT / "sample_data"
FILES = {HTML, PDF, JSON, SUMS, FIRST_PAGE}


@pytest.fixture(scope="module")
def samples() -> dict[str, Checked]:
    return readable_samples(SAMPLES)


def test_every_readable_sample_has_its_whole_example(samples: dict[str, Checked]) -> None:
    kept = {folder.name: {path.name for path in folder.iterdir()} for folder in EXAMPLES.iterdir() if folder.is_dir()}
    assert kept == dict.fromkeys(KEPT, FILES)
    assert set(KEPT) < set(samples)


def alike(kept: object, fresh: object) -> bool:
    """Equal but for the last digits of floats, which another processor may round otherwise."""
    if isinstance(kept, dict) and isinstance(fresh, dict):
        return kept.keys() == fresh.keys() and all(alike(kept[key], fresh[key]) for key in kept)
    if isinstance(kept, list) and isinstance(fresh, list):
        return len(kept) == len(fresh) and all(alike(one, other) for one, other in zip(kept, fresh, strict=True))
    if isinstance(kept, float) and isinstance(fresh, float):
        return fresh == pytest.approx(kept, rel=1e-9, abs=1e-12)
    return kept == fresh


def test_each_kept_result_is_that_of_a_fresh_judging(samples: dict[str, Checked]) -> None:
    differing = []
    for name in KEPT:
        checked = samples[name]
        kept = json.loads((EXAMPLES / name / JSON).read_text(encoding="utf-8"))
        fresh = json.loads(as_text(checked.sealed()))
        # The digest of the result follows the last digit of every figure in it.
        for document in (kept, fresh):
            assert len(document["seal"].pop("result_sha256")) == 64
            document["seal"].pop("drawn_from", None)
        if not alike(kept, fresh):
            differing.append(name)
    assert differing == [], "rebuild with: python reports/make_examples.py reports/examples"


def test_a_figure_that_moved_is_not_alike() -> None:
    assert alike({"mean": [1.0, "a"]}, {"mean": [1.0 + 1e-12, "a"]})
    assert not alike({"mean": [1.0, "a"]}, {"mean": [1.0 + 1e-6, "a"]})
    assert not alike({"mean": [1.0]}, {"mean": [1.0, 2.0]})


def test_a_sample_that_is_refused_has_no_example_and_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "typing-slips.xlsx").write_bytes((SAMPLES / "typing-slips.xlsx").read_bytes())
    assert readable_samples(tmp_path) == {}
    assert "typing-slips.xlsx: no report, refused with" in capsys.readouterr().err


def test_an_example_is_built_anew_byte_for_byte(tmp_path: Path, samples: dict[str, Checked]) -> None:
    source = tmp_path / "samples"
    source.mkdir()
    (source / "sound.xlsx").write_bytes((SAMPLES / "sound.xlsx").read_bytes())
    (source / "pour-step.xlsx").write_bytes((SAMPLES / "pour-step.xlsx").read_bytes())
    write_examples(tmp_path / "kept", samples=source)
    assert [folder.name for folder in (tmp_path / "kept").iterdir()] == ["sound"]
    built = {path.name: path.read_bytes() for path in (tmp_path / "kept" / "sound").iterdir()}
    assert built == example_files(samples["sound"])
    assert built[FIRST_PAGE].startswith(b"\x89PNG")
