"""The table that `pytest -m validation` leaves in results/validation: what was checked against which outside source."""

from dataclasses import astuple, dataclass, field
from pathlib import Path

import pandas as pd

from tautwire.model.solve.engine import engine_name

FOLDER = Path(__file__).parent.parent / "results" / "validation"
COMMAND = "pytest -m validation"


@dataclass(frozen=True)
class Row:
    """One number: a real one, or the size of a complex difference (`difference` and `tolerance` share a unit)."""

    family: str
    check: str
    source: str
    expected: str
    computed: str
    difference: float
    tolerance: float
    unit: str

    @property
    def passed(self) -> bool:
        return self.difference <= self.tolerance


def text(value: complex) -> str:
    """Six digits; a + bj for complex numbers."""
    if isinstance(value, complex) and value.imag:
        return f"{value.real:.6g}{value.imag:+.6g}j"
    return f"{complex(value).real:.6g}"


@dataclass
class Table:
    """Rows as they come, and whole checks that gave a verdict but no number."""

    rows: list[Row] = field(default_factory=list)
    verdicts: dict[str, str] = field(default_factory=dict)
    series: dict[str, pd.DataFrame] = field(default_factory=dict)

    def add(self, row: Row) -> None:
        self.rows.append(row)

    def frame(self) -> pd.DataFrame:
        columns = [*Row.__dataclass_fields__, "passed"]
        return pd.DataFrame([(*astuple(row), row.passed) for row in self.rows], columns=columns)

    def write(self, folder: Path, full: bool) -> None:
        """checks.csv, the convergence tables, and a page that sums them up."""
        folder.mkdir(parents=True, exist_ok=True)
        frame = self.frame()
        frame.to_csv(folder / "checks.csv", index=False, float_format="%.4g", lineterminator="\n")
        for name, table in self.series.items():
            table.to_csv(folder / f"{name}.csv", index=False, float_format="%.6g", lineterminator="\n")
        (folder / "summary.md").write_text(self.page(frame, full), encoding="utf-8")

    def page(self, frame: pd.DataFrame, full: bool) -> str:
        parts = [
            "# What has been checked against the outside",
            f"{len(frame)} numbers in {frame['family'].nunique()} families, {int((~frame['passed']).sum())} outside "
            f"their tolerance; engine: {engine_name()}. All numbers: checks.csv.",
        ]
        lines = ["| family | numbers | worst, part of tolerance | which |", "|---|---|---|---|"]
        for name, rows in frame.groupby("family", sort=False):
            share = rows["difference"] / rows["tolerance"]
            lines.append(f"| {name} | {len(rows)} | {share.max():.2f} | {rows.loc[share.idxmax(), 'check']} |")
        parts.append("\n".join(lines))
        parts.append("## Sources\n\n" + "\n".join(f"- {s}" for s in dict.fromkeys(frame["source"])))
        for name, table in self.series.items():
            head = "| " + " | ".join(table.columns) + " |\n" + "|---" * len(table.columns) + "|\n"
            body = "\n".join("| " + " | ".join(map(_cell, row)) + " |" for row in table.itertuples(index=False))
            parts.append(f"## {name.replace('_', ' ')}\n\n{head}{body}")
        if self.verdicts:
            counts = pd.Series(self.verdicts).value_counts()
            told = ", ".join(f"{n} {word}" for word, n in counts.items())
            parts.append(f"## Checks with a verdict only\n\n{told}; see verdicts.csv.")
        parts.append(f"## Made with\n\n    {COMMAND}{' --full' if full else ''}")
        return "\n\n".join(parts) + "\n"


def _cell(value: object) -> str:
    return f"{value:.5g}" if isinstance(value, float) else str(value)
