"""Results in open formats: labelled arrays and back, Parquet read by pandas alone, columns as data, notebooks.

Units are checked with pint, a general library of units.
"""

import json
import subprocess
import sys

import numpy as np
import pandas as pd
import pint
import pytest

import tautwire
from tautwire.studies.commands.cli import main
from tautwire.studies.study.columns import COLUMNS, TABLES, facts, type_of, unit_of
from tautwire.studies.study.result import Tables

STUDY = {
    "study": {"name": "pine", "bands": ["20 m", "15 m"], "question": "How long?"},
    "antenna": {"layout": "vertical", "length": "10.3 m"},
    "counterpoise": [{"length": "2 m", "height": "30 cm"}],
    "sweep": {"antenna.length": ["10.1 m", "10.3 m"], "site.soil": ["sea water", "average soil"]},
}


@pytest.fixture(scope="module")
def result():
    return tautwire.run(tautwire.read_study(STUDY), workers=0)


@pytest.mark.parametrize("table", ["dips", "sweeps", "all_dips", "spread_parts"])
def test_labelled_arrays_are_the_table(result, table):
    frame, arrays = result.frames[table], result.to_xarray(table)
    assert arrays.sizes["length_m"] == 2 and arrays.soil.values.tolist() == ["sea water", "average soil"]
    back = arrays.to_dataframe().reset_index()
    keys = [c for c in ("length_m", "soil", "band") if c in frame]
    back = back.dropna(subset=[c for c in frame if c not in keys], how="all").sort_values(
        [*keys, "row"] if "row" in back else keys
    )
    expected = frame.assign(row=frame.groupby(keys).cumcount()).sort_values([*keys, "row"])
    assert len(back) == len(expected)
    for column in frame:
        a, b = back[column].to_numpy(), expected[column].to_numpy()
        if expected[column].dtype.kind in "fiu":
            np.testing.assert_array_equal(a.astype(float), b.astype(float))
        else:
            assert a.tolist() == b.tolist()


def test_arrays_say_their_units(result):
    dips = result.to_xarray()
    assert dips.dip_mhz.attrs["units"] == "MHz" and "SWR minimum" in dips.dip_mhz.attrs["long_name"]
    assert dips.length_m.attrs["units"] == "m" and dips.attrs["title"] == "How long?"
    assert dips.attrs["Conventions"].startswith("CF-")
    at = dips.dip_mhz.sel(length_m=10.3, soil="average soil", band="20 m")
    frame = result.frames["dips"].query("length_m == 10.3 and soil == 'average soil' and band == '20 m'")
    assert float(at) == frame["dip_mhz"].iloc[0]
    with pytest.raises(tautwire.InputError, match="table = 'dip': one of dips"):
        result.to_xarray("dip")


def test_parquet_is_read_by_pandas_alone(result, tmp_path):
    files = result.to_parquet(tmp_path)
    script = f"import pandas, sys; f = pandas.read_parquet({str(tmp_path / 'dips.parquet')!r}); print(f.to_json()); "
    script += "assert not any(m.startswith('tautwire') for m in sys.modules)"
    out = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True).stdout
    frame = pd.DataFrame(json.loads(out))
    np.testing.assert_allclose(frame["dip_mhz"], result.frames["dips"]["dip_mhz"])
    assert {f.stem for f in files} == {n for n, f in result.frames.items() if len(f.columns)}


def test_types_do_not_hang_on_the_rows():
    rows = [{"band": "20 m", "dip_mode": 2, "mode": 2, "dip_mhz": 14.0}]
    missing = [{"band": "20 m", "dip_mode": float("nan"), "mode": 3, "dip_mhz": float("nan")}]
    for table in (rows, missing, rows + missing):
        frame = Tables({"dips": table})["dips"]
        assert [frame[c].dtype.kind for c in ("dip_mode", "mode", "dip_mhz")] == ["f", "i", "f"]


def test_every_table_has_the_columns_that_are_listed(result):
    kinds = {"float": "f", "whole number": "iu", "true or false": "b", "text": "OUT"}
    for name, frame in result.frames.items():
        own = [c for c in frame if c not in result.axis_columns]
        assert set(own) == set(TABLES[name]), name
        for column in own:
            assert (
                frame[column].dtype.kind in kinds[type_of(column)]
                or frame[column].dtype == "string"
                or str(frame[column].dtype) == "str"
            ), column


def test_every_column_is_in_a_table_and_has_a_unit_that_there_is():
    units = pint.UnitRegistry()
    listed = {fact.column for fact in facts()}
    assert listed == set(COLUMNS)
    for column in listed:
        unit = unit_of(column)
        if unit not in ("", "1", "dB", "dBi", "percent"):
            units.parse_units(unit.replace(" ", "*").replace("-1", "**-1"))
        if type_of(column) == "text":
            assert unit == ""


def test_columns_as_data(capsys):
    main(["list", "columns", "--json"])
    table = pd.DataFrame(json.loads(capsys.readouterr().out))
    assert list(table) == ["table", "column", "unit", "type", "meaning"]
    row = table[(table["table"] == "dips") & (table["column"] == "dip_mhz")].iloc[0]
    assert (row["unit"], row["type"]) == ("MHz", "float")
    main(["list", "soils", "--json"])
    assert any(row["soil"] == "sea water" for row in json.loads(capsys.readouterr().out))


def test_a_notebook_shows_verdict_table_and_picture_and_nothing_prints(result, capsys):
    shown = result._repr_html_()
    assert "<table>" in shown and "<svg" in shown and "dip_mhz" in shown
    assert shown.index("<b>") < shown.index("<table>") < shown.index("<svg")
    assert len(repr(result)) < 400 and "4 cases" in repr(result)
    figures = result.figures()
    assert figures["swr"].savefig and result.answer[0]
    assert capsys.readouterr().out == ""


def test_a_library_that_is_not_installed_is_said_in_a_line(result, monkeypatch):
    monkeypatch.setitem(sys.modules, "xarray", None)
    with pytest.raises(tautwire.InputError, match=r"xarray = not installed: pip install 'tautwire\[arrays\]'"):
        result.to_xarray()
