"""The table that `pytest -m validation` leaves in results/validation: what was checked, and against what."""

import re
from dataclasses import astuple, dataclass, field
from pathlib import Path

import pandas as pd

from tautwire.model.solve.engine import engine_name

FOLDER = Path(__file__).parent.parent / "results" / "validation"
COMMAND = "pytest -m validation"
KINDS = {
    "looked up": "an outside source that was looked up: a recommendation, a public table",
    "library": "a general-purpose library of other authors, installed by pip",
    "from memory": "an outside source as remembered: the number may be right, the citation is no proof",
    "practice": "common practice, no source",
    "own method": "another way of computing it, worked in the tests: quadrature, closed form, images, a second "
    "method of moments",
    "conservation": "a law that the answer must obey: energy, power, reciprocity",
    "own settings": "the same code with finer settings",
    "guard": "the engine against itself: stored answers, another way of asking",
}
OUTSIDE = ("looked up", "library", "from memory")
"""The kinds that are outside sources, the weakest last."""
UNSAID = "not said"
KIND_OF = (
    (r"from memory", "from memory"),
    (r"^ITU-R P\.52(7-4|6)\b|^GeoSci\.xyz", "looked up"),
    (r"^ITU-R P\.527, eq\. 1$", "from memory"),
    (r"^(empymod|tmm|scikit-rf|scipy\.constants)\b", "library"),
    (r"^common practice", "practice"),
    (r"worked in the test|solved in the test|^direct quadrature|^closed form", "own method"),
    (r"^method of images|second method of moments", "own method"),
    (r"^conservation of|^reciprocity$|^free space, as the limit", "conservation"),
    (r"^the same with|^three times the far points|finer segments$|twice as fine$", "own settings"),
    (r"^PyNEC .* stored$|^the engine's", "guard"),
)
"""What the words of a source say of its kind; the first that fits counts."""


def kind_of(source: str) -> str:
    """The kind of a source.

    >>> kind_of("Carter 1932, from memory"), kind_of("conservation of power"), kind_of("a friend")
    ('from memory', 'conservation', 'not said')
    """
    return next((kind for words, kind in KIND_OF if re.search(words, source)), UNSAID)


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
    def kind(self) -> str:
        return kind_of(self.source)

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
        columns = [*Row.__dataclass_fields__, "passed", "kind"]
        return pd.DataFrame([(*astuple(row), row.passed, row.kind) for row in self.rows], columns=columns)

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
            "# What has been checked, and against what",
            f"{len(frame)} numbers in {frame['family'].nunique()} families, {int((~frame['passed']).sum())} outside "
            f"their tolerance. {int(frame['kind'].isin(OUTSIDE).sum())} are checked against outside sources, "
            f"{int((frame['kind'] == OUTSIDE[-1]).sum())} of them quoted from memory. Engine: {engine_name()}. "
            "All numbers: checks.csv.",
        ]
        lines = ["| kind of source | numbers | what it is |", "|---|---|---|"]
        counts = frame["kind"].value_counts()
        every = {**KINDS, UNSAID: "to be named in tests/validation_table.py"}
        lines += [f"| {kind} | {counts[kind]} | {what} |" for kind, what in every.items() if kind in counts]
        parts.append("\n".join(lines))
        lines = ["| family | numbers | worst, part of tolerance | which |", "|---|---|---|---|"]
        for name, rows in frame.groupby("family", sort=False):
            share = rows["difference"] / rows["tolerance"]
            lines.append(f"| {name} | {len(rows)} | {share.max():.2f} | {rows.loc[share.idxmax(), 'check']} |")
        parts.append("\n".join(lines))
        named = [f"- {kind}: {'; '.join(dict.fromkeys(rows['source']))}" for kind, rows in frame.groupby("kind")]
        parts.append("## Sources\n\n" + "\n".join(named))
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
