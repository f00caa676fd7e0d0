"""Turns off the reel that serve the wanted segments."""

from tautwire.studies.questions.shared import Asked, tables_of
from tautwire.studies.running.runner import TIMEOUT, Progress, run
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study, without_cases
from tautwire.studies.study.result import Result
from tautwire.studies.wants.turns.want import with_turn_axis


def turns(
    study: Asked,
    workers: int | None = None,
    timeout: float = TIMEOUT,
    store: Store | None = None,
    progress: Progress | None = None,
) -> Result:
    """Which turns off the reel serve the wanted segments, and the fewest stops that serve them all.

    Parameters
    ----------
    study : mapping or Study
        Tables of a study file with a "reel"; "turns" says which segments are wanted and which turns are tried.
        Without "turns" in its wants, its sweep is left out.
    workers : int, optional
        Processes; by default one for each core that may be used. 0 computes in this process.
    store : Store, optional
        Where finished answers are kept and looked up.
    timeout : float
        Seconds for a setting of the reel.
    progress : callable, optional
        Called as progress(done, total).

    Returns
    -------
    Result
        frames["turns"]: a row per segment (segment, turns_out, wire_m, swr_best, swr_worst, stop_turns ...);
        "stops"; "turn_swr" and "turn_dips": every setting tried.

    Raises
    ------
    InputError
        Without a reel, or for turns and segments that cannot be.
    SolveError
        If no setting could be solved.

    Examples
    --------
    >>> import tautwire
    >>> tables = {
    ...     "antenna": {"layout": "vertical", "length": "10.3 m"},
    ...     "counterpoise": [{"length": "2 m", "height": "30 cm"}],
    ...     "reel": {"wire_length": "12 m", "turn_length": "30 cm"},
    ...     "turns": {"segments": ["20 m CW"], "first": 32, "last": 36},
    ... }
    >>> row = tautwire.turns(tables, workers=0).rows("turns")[0]
    >>> row["segment"], bool(32 <= row["turns_out"] <= 36)
    ('20 m CW', True)
    """
    asked = with_turn_axis(read_study(without_cases(tables_of(study), "turns"), "turns"))
    return run(asked, store, workers, timeout, progress=progress)
