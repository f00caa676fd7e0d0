"""What can be moved on an explorer page: sliders over swept numbers, choices among swept words."""

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tautwire.model.errors import InputError
from tautwire.studies.study.raw import Raw, changed, kind_of, table_value
from tautwire.studies.study.setup import Setup, buildable
from tautwire.studies.study.study import Axis, Study
from tautwire.studies.study.units import CUSTOMARY, Kind, in_words, written

FEED_ONLY = ("transformer.", "radio.impedance", "coax.loss_scale")
"""paths that change what is between wire and radio, but no current on the wire"""
NO_EFFECT = ("radio.power", "radio.duty", "reel.", "mesh.")
REACH = 0.05  # how far a length slider that no sweep asked for goes either way, as a fraction
MOST_SLIDERS = 4
OTHER_SOILS = ("fresh water", "average soil", "very dry ground")  # offered when a study sweeps no soil

Setting = dict[str, float]
"""slider path -> value in the slider's unit"""


@dataclass(frozen=True)
class Slider:
    """A number that can be moved. low, high, start: in `unit`; factor: SI to unit."""

    path: str
    label: str
    unit: str
    kind: Kind
    factor: float
    low: float
    high: float
    start: float

    @property
    def moves_wire(self) -> bool:
        """Whether the currents depend on it."""
        return not self.path.startswith(FEED_ONLY)

    @property
    def step(self) -> float:
        """A round step, at least 100 over the range."""
        rough = (self.high - self.low) / 100
        size = 10 ** math.floor(math.log10(rough))
        return max(s * size for s in (1, 2, 5) if s * size <= rough * (1 + 1e-9))

    def text(self, value: float) -> Any:
        """The value as it is written in a set-up."""
        return written(value, self.kind)


@dataclass(frozen=True)
class Choice:
    """A word that can be chosen. path: dotted key, or "variant". texts: values as written in the set-up."""

    path: str
    label: str
    texts: tuple[Any, ...]
    names: tuple[str, ...]
    start: int = 0


@dataclass(frozen=True)
class Controls:
    """All that can be moved on the page of a study."""

    study: Study
    sliders: tuple[Slider, ...]
    choices: tuple[Choice, ...]

    def combinations(self) -> Iterator[tuple[int, ...]]:
        """Every combination of choices, the last running fastest."""
        return itertools.product(*(range(len(c.texts)) for c in self.choices))

    @property
    def start(self) -> Setting:
        return {s.path: s.start for s in self.sliders}

    def corners(self) -> Iterator[tuple[Setting, Raw]]:
        """Every corner of the sliders' ranges with every combination of choices: setting, set-up as texts."""
        for corner in itertools.product(*((s.low, s.high) for s in self.sliders)):
            setting = {s.path: v for s, v in zip(self.sliders, corner, strict=True)}
            for picked in self.combinations():
                yield setting, self.raw(setting, picked)

    def raw(self, setting: Mapping[str, float], picked: Sequence[int]) -> Raw:
        """The set-up as texts at a setting of the sliders and a combination of choices."""
        raw = dict(self.study.raw)
        for choice, i in sorted(zip(self.choices, picked, strict=True), key=lambda c: c[0].path != "variant"):
            if choice.path == "variant":
                raw = {**raw, **self.study.variants[choice.texts[i]]}
            else:
                raw = changed(raw, choice.path, choice.texts[i])
        for slider in self.sliders:
            raw = changed(raw, slider.path, slider.text(setting[slider.path]))
        return raw


def controls(
    study: Study,
    ranges: Iterable[tuple[str, str, str]] = (),
    words: Iterable[tuple[str, str]] = (),
) -> Controls:
    """Controls of a study: its swept axes, and what is asked for besides.

    ranges: (path, lowest, highest) of more sliders; words: (path, value) of more choices. When there is room, a length
    slider and a choice of soils are added to a study that sweeps neither. Raises InputError.
    """
    sliders: dict[str, Slider] = {}
    choices: dict[str, Choice] = {}
    for axis in study.axes:
        if axis.path.startswith(NO_EFFECT):
            continue
        if axis.numbers is None or len(axis.numbers) < 2:
            choices[axis.path] = _choice(study, axis.path, axis.label, axis.texts)
        else:
            sliders[axis.path] = _slider_of(study, axis)
    for path, low, high in ranges:
        sliders[path] = _slider(study, path, low, high)
    more: dict[str, list[Any]] = {}
    for path, text in words:
        if kind_of(path) is not None:
            raise InputError("choice", path, "a key whose values are words; use a slider for numbers")
        more.setdefault(path, []).append(text)
    for path, texts in more.items():
        had = choices[path].texts if path in choices else (_now(study, path),)
        texts = [t for t in _distinct(*had, *texts) if t is not None]
        choices[path] = _choice(study, path, path.rpartition(".")[2], tuple(texts))
    if "antenna.length" not in sliders and sum(s.moves_wire for s in sliders.values()) < 2:
        added = _length_slider(Controls(study, tuple(sliders.values()), tuple(choices.values())))
        sliders = {**({added.path: added} if added else {}), **sliders}
    if "site.soil" not in choices and "site" not in str(list(sliders)) and not _varies(study, "site"):
        own = _now(study, "site.soil") or "average soil"
        choices["site.soil"] = _choice(study, "site.soil", "soil", _distinct(_plain(own), *OTHER_SOILS))
    if not sliders:
        raise InputError("slider", "none", "a swept number in the study file, or --slider PATH LOWEST HIGHEST")
    if len(sliders) > MOST_SLIDERS:
        raise InputError("slider", f"{len(sliders)} sliders", f"at most {MOST_SLIDERS}")
    made = Controls(study, tuple(sliders.values()), tuple(choices.values()))
    _check(made)
    return made


def _check(made: Controls) -> None:
    """Every corner of the box must be something that can be built."""
    for setting, raw in made.corners():
        try:
            Setup.read(raw).build()
        except InputError as error:
            where = ", ".join(f"{s.label} {setting[s.path]:g} {s.unit}".strip() for s in made.sliders)
            raise InputError(error.field, error.value, f"{error.allowed} (with {where})") from None


def _now(study: Study, path: str) -> Any:
    try:
        return table_value(study.raw, path)
    except IndexError:
        return None


def _varies(study: Study, table: str) -> bool:
    return any(table in tables for tables in study.variants.values())


def _plain(value: Any) -> Any:
    return " ".join(value.lower().split()) if isinstance(value, str) else value


def _distinct(*values: Any) -> tuple[Any, ...]:
    """Each value once, in order; tables among them cannot be hashed."""
    return tuple(v for i, v in enumerate(values) if v not in values[:i])


def _choice(study: Study, path: str, label: str, texts: tuple[Any, ...]) -> Choice:
    now = _now(study, path)
    table, _, last = path.rpartition(".")
    label = f"{table.replace('.', ' ')} {last}" if last in ("type", "material", "size") else label
    start = next((i for i, t in enumerate(texts) if _plain(t) == _plain(now)), 0)
    return Choice(path, label, texts, tuple(map(in_words, texts)), start)


def _slider_of(study: Study, axis: Axis) -> Slider:
    kind, numbers = kind_of(axis.path), axis.numbers
    assert kind is not None and numbers is not None
    unit, factor = CUSTOMARY[kind].sign, CUSTOMARY[kind].factor
    if axis.column.startswith("turns"):  # the axis counts turns; the slider moves the metres they give
        numbers = tuple(kind(t, axis.path) for t in axis.texts)
    low, high = min(numbers), max(numbers)
    label = "wire length" if axis.path == "antenna.length" else axis.name
    return Slider(axis.path, label, unit, kind, factor, low, high, _start(study, axis.path, kind, factor, low, high))


def _start(study: Study, path: str, kind: Kind, factor: float, low: float, high: float) -> float:
    """The set-up's own value if it lies in the range, else the middle."""
    now = _now(study, path)
    value = math.nan if now is None else kind(now, path) * factor
    value = float(f"{value:.9g}")
    return value if low <= value <= high else (low + high) / 2


def _slider(study: Study, path: str, low: str, high: str) -> Slider:
    kind = kind_of(path)
    if kind is None:
        raise InputError("slider", path, "a key whose values are numbers; use a choice for words")
    if path.startswith(NO_EFFECT):
        raise InputError("slider", path, "a key that moves the SWR")
    unit, factor = CUSTOMARY[kind].sign, CUSTOMARY[kind].factor
    a, b = (kind(t, f"slider {path}") * factor for t in (low, high))
    if not a < b:
        raise InputError(f"slider {path}", f"{low} to {high}", "a lowest value below the highest")
    label = "wire length" if path == "antenna.length" else path.replace(".", " ").replace("_", " ")
    return Slider(path, label, unit, kind, factor, a, b, _start(study, path, kind, factor, a, b))


def _length_slider(others: Controls) -> Slider | None:
    """The wire's length, if the layout takes one: over the turns asked for, or a little either way as far as it can be
    built wherever the other controls are."""
    study = others.study
    own, tables = _now(study, "antenna.length"), [v["antenna"] for v in study.variants.values() if "antenna" in v]
    lengths = [table.get("length") for table in tables] + [own] * (len(tables) < len(study.variants) or not tables)
    if None in lengths or len(set(lengths)) > 1 or any(a.path == "antenna.length" for a in study.axes):
        return None
    setup, turns = Setup.read(others.raw(others.start, [0] * len(others.choices))), study.options.get("turns")
    metres = setup.antenna.length or 0.0
    low, high = metres * (1 - REACH), metres * (1 + REACH)
    if setup.reel is not None and turns is not None and turns.first and turns.last:
        low, high = (float(setup.reel.reel().length_out(n)) for n in (turns.first, turns.last))
    else:
        low, high = buildable((Setup.read(raw) for _, raw in others.corners()), low, high)
    low, high = math.ceil(low * 100 - 1e-6) / 100, math.floor(high * 100 + 1e-6) / 100
    try:
        return _slider(study, "antenna.length", f"{low:.2f} m", f"{high:.2f} m")
    except InputError:
        return None
