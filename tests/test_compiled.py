"""What a compiled campaign takes from the cache, without a compiler."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests import compiled


def test_the_hot_modules_are_all_compiled() -> None:
    """What each frame passes through is among the compiled sources, and nothing that talks to the world is."""
    files = compiled.sources()
    assert {"monitor/core/bench.py", "monitor/core/leakwindows.py", "monitor/rig/plant.py", "tests/stage.py"} <= {
        *files
    }
    assert not [name for name in files if "edges" in name or "firmware" in name]


def test_a_build_is_named_after_every_source(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A changed line is another build."""
    monkeypatch.setattr(compiled, "ROOT", tmp_path)
    for name in ("a.py", "b.py"):
        (tmp_path / name).write_text("x = 1\n")
    before = compiled.key(["a.py", "b.py"])
    assert compiled.key(["a.py", "b.py"]) == before
    (tmp_path / "b.py").write_text("x = 2\n")
    assert compiled.key(["a.py", "b.py"]) != before
    assert compiled.key(["a.py"]) != before


def test_a_build_that_is_kept_is_laid_out_and_not_made_again(tmp_path: Path) -> None:
    """Its libraries stand beside the sources of the copy."""
    library = tmp_path / "cache" / compiled.key(compiled.sources()) / "monitor" / "core" / "bench.so"
    library.parent.mkdir(parents=True)
    library.write_bytes(b"compiled")
    laid = tmp_path / "laid"
    assert compiled.lay_out(laid, tmp_path / "cache") is False
    assert (laid / "monitor" / "core" / "bench.so").read_bytes() == b"compiled"
    assert (laid / "tests" / "campaign.py").read_text() == Path(compiled.ROOT, "tests", "campaign.py").read_text()
