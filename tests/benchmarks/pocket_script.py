"""The pocket page's script against Python: 200 random settings, 50 random measurements (tests/test_pocket.py: fewer).

python tests/benchmarks/pocket_script.py
"""

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
from test_pocket import RANGES, RAW, compare  # noqa: E402

from tautwire.studies.explorer.sliders import controls  # noqa: E402
from tautwire.studies.pocket.page import pocket  # noqa: E402
from tautwire.studies.questions.explore import explored_study  # noqa: E402
from tautwire.studies.running.store import Store  # noqa: E402

if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        built = pocket(controls(explored_study(RAW), RANGES), Store(), workers=0)
        compare(built, 200, 50, Path(folder))
    print("200 settings to 1e-9; 50 measurements: the same posterior, stops and first three causes")
