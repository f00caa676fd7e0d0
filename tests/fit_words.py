"""What a fit says, from its tables, for tests without a study."""

from collections.abc import Sequence

from tautwire.studies.study.findings import Row
from tautwire.studies.wants.fit.fitting import LEAST_ERROR, Fit, Missing
from tautwire.studies.wants.fit.want import fit_tables, missing_tables
from tautwire.studies.wants.fit.words import notes


def words_of(found: Fit, tried: Sequence[Missing] = ()) -> list[str]:
    """The findings of a fit in words, from its tables."""
    frames = {**fit_tables(found), **missing_tables(tried)}
    tables = {name: [Row(r, name, i) for i, r in enumerate(rows)] for name, rows in frames.items()}
    return [f.words.text() for f in notes(tables, LEAST_ERROR)]
