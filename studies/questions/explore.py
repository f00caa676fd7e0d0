"""A page with sliders, made from a study."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tautwire.studies.explorer.explorer import explore as explorer_page
from tautwire.studies.explorer.sliders import controls
from tautwire.studies.questions.shared import Asked, tables_of
from tautwire.studies.running.runner import Progress
from tautwire.studies.running.store import Store
from tautwire.studies.running.study_file import read_study
from tautwire.studies.study.files import Output, Source
from tautwire.studies.study.raw import Raw
from tautwire.studies.study.study import Study
from tautwire.studies.wants.turns.want import with_turn_axis


@dataclass(frozen=True)
class Explorer:
    """A page with sliders, made by `explore`.

    Attributes
    ----------
    page : str
        The page, one HTML text that needs no network.
    errors : dict
        What the page's interpolation is off by, at random settings: reflection (greatest), typical, swr.
    axes : dict
        Label of each slider -> number of settings solved along it.
    wires : int
        Kinds of wire and ground that were solved.

    Examples
    --------
    >>> import tautwire
    >>> tautwire.Explorer("<html></html>").page
    '<html></html>'
    """

    page: str = field(repr=False)
    errors: Mapping[str, Any] = field(default_factory=dict)
    axes: Mapping[str, int] = field(default_factory=dict)
    wires: int = 0

    def write(self, path: str | Path, replace: bool = False) -> None:
        """Write the page. Raises InputError if the file cannot be written, or stands there and is not our own, unless
        `replace` is true."""
        path = Path(path)
        with Output.file(path, Source("explorer"), "explore", replace) as out:
            out.put({path.name: self.page.encode()})


def explore(
    study: Asked,
    sliders: Iterable[tuple[str, str, str]] = (),
    choices: Iterable[tuple[str, str]] = (),
    workers: int | None = None,
    store: Store | None = None,
    progress: Progress | None = None,
) -> Explorer:
    """One offline page with sliders for a study's swept numbers and choices for its swept words.

    Parameters
    ----------
    study : mapping or Study
        Tables of a study file.
    sliders : iterable of (str, str, str)
        More sliders: dotted key, lowest, highest, such as ("antenna.slope", "20 deg", "40 deg").
    choices : iterable of (str, str)
        More words to choose: dotted key and value, such as ("site.soil", "sea water").
    workers : int, optional
        Processes; by default one for each core that may be used. 0 computes in this process.
    store : Store, optional
        Where finished answers are kept and looked up.
    progress : callable, optional
        Called as progress(done, total).

    Returns
    -------
    Explorer
        page: the HTML; write(path) writes it; errors: what its interpolation costs.

    Raises
    ------
    InputError
        For a set-up that cannot be built somewhere on the sliders.
    SolveError
        Where the engine gives no usable answer.

    Examples
    --------
    >>> import tautwire
    >>> tables = {
    ...     "study": {"bands": ["20 m"]},
    ...     "antenna": {"layout": "vertical", "length": "10.3 m"},
    ...     "counterpoise": [{"length": "2 m", "height": "30 cm"}],
    ...     "sweep": {"antenna.length": ["10.2 m", "10.4 m"], "site.soil": ["average soil"]},
    ... }
    >>> page = tautwire.explore(tables, workers=0)
    >>> page.page[:15], bool(page.errors["reflection"] < 0.02)
    ('<!doctype html>', True)
    """
    asked = explored_study(tables_of(study))
    told = None if progress is None else lambda _, done, total: progress(done, total)
    page, data = explorer_page(controls(asked, sliders, choices), store or Store(), workers, told)
    axes = {s["label"]: len(s["nodes"]) for s in data["sliders"]}
    return Explorer(page, data["errors"], axes, len(data["wires"]))


def explored_study(raw: Raw, name: str = "explore") -> Study:
    """The study whose axes `explore` makes sliders of: with the turns of the reel where segments are wanted."""
    study = read_study(raw, name)
    return with_turn_axis(study) if study.options["turns"].segments else study
