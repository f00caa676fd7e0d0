"""results/README.md shows every ready-made study, with pictures that are there."""

import re
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))
from gallery import RESULTS, studies  # noqa: E402

pytestmark = pytest.mark.skipif(not RESULTS.is_dir(), reason="a source distribution has no results")


def test_the_gallery_shows_every_ready_made_study_once() -> None:
    text = (RESULTS / "README.md").read_text(encoding="utf-8")
    assert re.findall(r"\(([\w-]+)/summary\.md\)", text) == studies()
    shown = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", text)
    assert len(shown) == len(studies()) and all((RESULTS / path).is_file() for path in shown)
    for name in studies():
        assert f"studies/ready/{name}.toml" in text
