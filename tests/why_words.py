"""What is said of why dips moved, from its tables, for tests without a study."""

from tautwire.studies.study.findings import Row
from tautwire.studies.study.setup import Setup
from tautwire.studies.wants.why.ranking import Why
from tautwire.studies.wants.why.want import why_tables
from tautwire.studies.wants.why.words import notes


def why_words(setup: Setup, why: Why, dip_error: float) -> list[str]:
    """The findings in words."""
    tables = {name: [Row(r, name, i) for i, r in enumerate(rows)] for name, rows in why_tables(why).items()}
    return [f.words.text() for f in notes(tables, setup, dip_error)]
