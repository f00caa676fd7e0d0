"""The lakeside set-up in free space, where a wire is solved in a fraction of a second; and frames made up by hand."""

from typing import Any

import pandas as pd

from tautwire.studies.study.setup import Setup

RAW: dict[str, Any] = {
    "site": {"soil": "free space"},
    "antenna": {"layout": "sloper", "length": "20.4 m", "feed_height": "1.2 m", "slope": "30 deg"},
    "wire": {"diameter": "0.8 mm", "jacket": "0.3 mm"},
    "coax": {"type": "RG-58", "length": "5 m"},
    "reel": {"wire_length": "22 m", "turn_length": "30 cm"},
}


def lakeside() -> Setup:
    return Setup.read(RAW)


def turn_frame(swr: dict[str, dict[float, float]], **rest: float) -> pd.DataFrame:
    """A "turn_swr" table of worst SWR by segment and turns."""
    rows = [
        {
            "turns_out": turns,
            "wire_m": 0.3 * turns,
            "segment": name,
            "band": "20 m",
            "swr_best": 1.0,
            "swr_worst": worst,
            "worst_mhz": 14.0,
            "radio_r_ohm": 20.0,
            "radio_x_ohm": -30.0,
            "coax_loss_db": 0.9,
            "coax_matched_db": 0.3,
            "transformer_loss_db": 1.0,
            **rest,
        }
        for name, column in swr.items()
        for turns, worst in column.items()
    ]
    return pd.DataFrame(rows)
