"""Why dips moved."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from tautwire.model.errors import InputError
from tautwire.studies.questions.shared import LONG, Asked, asking_for, one_case, tables_of
from tautwire.studies.running.pool import Ask, asking_all
from tautwire.studies.running.runner import Progress
from tautwire.studies.running.store import Store
from tautwire.studies.study.parts import table_at
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.result import Result
from tautwire.studies.study.setup import Setup
from tautwire.studies.study.study import Study
from tautwire.studies.wants.want import Frames
from tautwire.studies.wants.why.want import shifts_of, tables

Move = Sequence[str] | Mapping[str, Any]
"""where a dip was and is now, perhaps its band; in this order or by name"""


def move_of(move: Move) -> dict[str, Any]:
    """One move of [why]: was and now, perhaps a band, in this order or by name. Raises InputError."""
    if isinstance(move, Mapping):
        return dict(move)
    if isinstance(move, str) or not 2 <= len(move) <= 3:
        raise InputError("why.moves", repr(move), 'where a dip was and is now, ("14.16 MHz", "14.05 MHz")')
    return dict(zip(("was", "now", "band"), move, strict=False))


def why_study(
    raw: Raw,
    moves: Iterable[Move] = (),
    before: Iterable[str | Path] = (),
    after: Iterable[str | Path] = (),
    without: Iterable[str] = (),
    plane: str | None = None,
    name: str = "why",
) -> Study:
    """The study that `why` runs; what was seen is read. Raises InputError."""
    options: dict[str, Any] = table_at(raw, "why")
    seen = {"moves": [move_of(m) for m in moves], "before": [*map(str, before)], "after": [*map(str, after)]}
    if any(seen.values()):
        options |= seen
    if plane:
        options["plane"] = plane
    if causes := list(without):
        options["exclude"] = causes
    study = asking_for(raw, "why", options, name)
    shifts_of(study.options["why"], study.spec.region)
    return study


def run_why(
    study: Study,
    store: Store,
    workers: int | None = None,
    timeout: float = LONG,
    meanwhile: Callable[[], object] | None = None,
    progress: Progress | None = None,
) -> Result:
    """What `why_study` asks for."""

    def compute(setup: Setup, ask: Ask) -> Frames:
        return tables(setup, study, store, asking_all(ask, timeout))

    return one_case(study, "why", compute, store, workers, timeout, meanwhile, progress)


def why(
    study: Asked,
    moves: Iterable[Move] = (),
    before: Iterable[str | Path] = (),
    after: Iterable[str | Path] = (),
    without: Iterable[str] = (),
    plane: str | None = None,
    workers: int | None = None,
    store: Store | None = None,
) -> Result:
    """Why did the dips move? Ranks what may have changed, smallest change first.

    Parameters
    ----------
    study : mapping or Study
        Tables of a study file: the set-up as it was. What "why" holds counts unless the arguments below replace it.
    moves : iterable of (str, str) or (str, str, str) or mapping
        Each dip that moved: where it was, where it is now, and its band if that is not plain.
    before : iterable of str or Path
        Sweep files from before, instead of moves.
    after : iterable of str or Path
        Sweep files from now.
    without : iterable of str
        Causes that cannot be: words in their names.
    plane : str, optional
        Where the SWR was read: "radio" (default) or "transformer".
    workers : int, optional
        Processes; by default one for each core that may be used. 0 computes in this process.
    store : Store, optional
        Where finished answers are kept and looked up.

    Returns
    -------
    Result
        frames["why"]: a row per cause, the likeliest first (cause, change, usual_changes, misfit, explains, undo);
        "why_parts": the size of each change, in SI; "why_bands": where each cause would put each dip.

    Raises
    ------
    InputError
        If nothing was seen, or a value is not allowed.
    SolveError
        Where the engine gives no usable answer.

    Examples
    --------
    >>> import tautwire
    >>> setup = {
    ...     "antenna": {"layout": "vertical", "length": "10.3 m"},
    ...     "counterpoise": [{"length": "2 m", "height": "30 cm"}],
    ... }
    >>> result = tautwire.why(setup, [("13.9 MHz", "13.6 MHz")], workers=0)
    >>> best = result.rows("why")[0]
    >>> best["rank"], best["explains"]
    (1, True)
    """
    return run_why(why_study(tables_of(study), moves, before, after, without, plane), store or Store(), workers)
