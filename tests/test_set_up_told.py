"""The set-up behind an answer: one set of defaults, told with what was assumed; predict's options."""

import json
import re
import tomllib
from importlib import resources
from typing import Any

import pytest
from click.testing import CliRunner
from lakeside import RAW

from tautwire.studies.commands.predict import COMMAND, OPTIONS, asked, setup_of
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.assumed import setup_words
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.dips.reading import shares

BARE: dict[str, Any] = {
    "antenna": {"layout": "sloper", "length": "19.8 m", "slope": "30 deg"},
    "coax": {"length": "5 m"},
}


def predicted(*options: str) -> str:
    answer = CliRunner().invoke(COMMAND, options, catch_exceptions=False)
    assert answer.exit_code == 0, answer.output
    return answer.output


def test_predict_and_a_study_file_assume_the_same() -> None:
    """What one fills in, so does the other: the same wires and the same feed system come out."""
    ours = Setup.read(setup_of({name: default for name, (_, _, default) in OPTIONS.items()}))
    file = Setup.read(BARE)
    assert repr(ours.build()) == repr(file.build())
    assert ours.feed_system() == file.feed_system()


def test_the_file_that_new_writes_names_the_defaults() -> None:
    text = (resources.files("tautwire.studies") / "ready" / "template.toml").read_text(encoding="utf-8")
    template = Setup.read({k: v for k, v in tomllib.loads(text).items() if k in Setup.model_fields})
    default = Setup.read(BARE)
    assert template.wire.wire() == default.wire.wire()
    assert template.transformer.transformer() == default.transformer.transformer()
    assert template.site == default.site and template.coax == default.coax


def test_what_nobody_said_is_marked() -> None:
    words = setup_words(read_study(BARE))
    assert "19.8 m of wire;" in words and "wire 0.8 mm (assumed)" in words and "average soil (assumed)" in words
    assert "2 turns on one 36 mm ring, mix 43 (assumed)" in words and "4 pF at the wire's terminal (assumed)" in words
    own = {**RAW, "transformer": {"magnetising_inductance": "8 uH", "loss_resistance": "250 ohm"}}
    words = setup_words(read_study(own))
    assert "magnetising inductance 8 µH;" in words and "wire 0.8 mm;" in words and "jacket 0.3 mm of er 2.3;" in words


def test_a_coax_too_short_for_the_ground_is_told_as_hanging() -> None:
    high = {**BARE, "antenna": {**BARE["antenna"], "feed_height": "100 m", "slope": "-30 deg"}}
    assert "hanging, its end 95.00 m up" in setup_words(read_study(high))
    assert "lying at 2.0 cm" in setup_words(read_study(BARE))


def test_what_the_study_changes_is_marked_as_varied() -> None:
    swept = {"antenna.slope": ["20 deg", "30 deg"], "site.soil": ["sea water", "average soil"]}
    words = setup_words(read_study({**BARE, "sweep": swept}))
    assert "slope 20° to 30° (varied)" in words and "sea water (varied)" in words and "coax 5 m of RG-58;" in words
    ways = [{"name": n, "antenna": BARE["antenna"]} for n in ("one", "two")]
    assert "sloper (varied)" in setup_words(read_study({**BARE, "variant": ways}))


def test_bands_and_frequencies_of_ones_own() -> None:
    assert asked("20, 7.074, 14.285 MHz, 7100 kHz", "1") == (["20", "40 m", "20 m"], [7.074e6, 14.285e6, 7.1e6])
    assert asked("13.5", "1") == (["13.365-13.635 MHz"], [13.5e6])
    assert asked("13.9-14.4 MHz, 17 m", "1") == (["13.9-14.4 MHz", "17 m"], [])


def test_predict_tells_set_up_frequencies_and_losses() -> None:
    out = predicted("--bands", "7.074, 14.285", "--awg", "20", "--length", "20.2 m")
    assert re.search(r"^ *7\.074 +\d\.\d\d ", out, re.MULTILINE) and re.search(r"^ *14\.285 ", out, re.MULTILINE)
    assert "wire 0.812 mm;" in out and "20.2 m of wire;" in out and "coax 5 m of RG-58 (assumed)" in out
    assert "reaches the wire" not in out  # a detail
    assert "of the power into the coax reaches the wire" in predicted("--bands", "20 m", "--all")
    rows = json.loads(predicted("--bands", "14.285", "--json"))["frequencies"]
    parts = [v for k, v in rows[0].items() if k.endswith("_percent")]
    assert len(parts) == 5 and sum(parts) == pytest.approx(100)


def test_losses_of_a_matched_feed_are_what_the_line_takes() -> None:
    """A matched line's loss in dB is what its fraction of heat says: 10 log10(1/(1 - x))."""
    feed = Setup.read({**BARE, "transformer": {"ideal": True}}).feed_system()
    assert feed.coax is not None
    part = shares(feed, 49 * complex(feed.coax.propagation(14.1e6)[1]), 14.1e6)
    assert part["coax"] == pytest.approx(100 * (1 - 10 ** (-float(feed.coax.loss_db(5.0, 14.1e6)) / 10)), rel=5e-3)
    assert part["core"] == part["winding"] == 0
