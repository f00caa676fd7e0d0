"""Feet in, feet out: in words, drawings, sweeps and what a fit writes."""

import re

import pytest

from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.assumed import setup_words
from tautwire.studies.wants.dips.figures import layout_figures


def test_lengths_come_out_as_they_are_typed() -> None:
    """International foot: 0.3048 m (NIST SP 811)."""
    typed = {"antenna": {"layout": "sloper", "length": "66 ft", "slope": "25 deg"}, "coax": {"length": "5.5 m"}}
    study = read_study({**typed, "sweep": {"antenna.length": {"from": "60 ft", "to": "66 ft", "count": 3}}})
    assert study.lengths == "imperial" and study.length_text(20.0) == "65 ft 7 in"
    axis = study.axes[0]
    assert [axis.value_text(n) for n in axis.numbers] == ["60 ft", "63 ft", "66 ft"]
    assert axis.numbers == pytest.approx([60 * 0.3048, 63 * 0.3048, 66 * 0.3048])
    assert "length 60 ft to 66 ft (varied)" in setup_words(study) and "coax 5.5 m of" in setup_words(study)
    assert "66 ft of wire" in setup_words(read_study(typed))
    metric = read_study({**typed, "antenna": {**typed["antenna"], "length": "20 m"}})
    assert metric.lengths == "metric" and "20 m of wire" in setup_words(metric)


def test_drawings_are_in_feet_where_the_file_is() -> None:
    study = read_study(
        {"antenna": {"layout": "sloper", "length": "66 ft", "slope": "25 deg"}, "coax": {"length": "16 ft"}}
    )
    figure = layout_figures(study)["layout"]
    words = [text.get_text() for ax in figure.axes for text in ax.texts]
    assert any("66 ft 0 in" in w for w in words) and not any(re.search(r"\d m\b", w) for w in words)
