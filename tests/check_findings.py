"""What holds of every finding and every title: their numbers come from cells, and a figure draws those of its title."""

from __future__ import annotations

import math
from typing import Any

from tautwire.studies.study.findings import Finding, Number, Title, Words
from tautwire.studies.study.result import Result


def assert_traced(result: Result, finding: Finding) -> None:
    """Every number is what its cells give now, and none is lost."""
    large = finding.number
    numbers = [*finding.words.numbers]
    numbers += [large] if isinstance(large, Number) else large.numbers if isinstance(large, Words) else []
    for number in numbers:
        assert number.cells, finding.words.text()
        assert math.isclose(number.again(result), number.value, rel_tol=1e-9), finding.words.text()
        assert not math.isnan(number.value), finding.words.text()
    assert "nan" not in finding.words.text() and finding.words.text() == finding.words.text().strip()


def assert_titled(result: Result, figure: Any) -> None:
    """The figure has a title of numbers that it draws."""
    assert isinstance(figure.title, Title) and figure.title, figure.caption
    assert figure.drawn.shows(figure.title)
    for number in figure.title.numbers:
        assert math.isclose(number.again(result), number.value, rel_tol=1e-9), figure.title
