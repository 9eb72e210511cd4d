"""Which band or variable of a file holds the seabed."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from reefscan.base.errors import AmbiguousError, InputError, UnreadableError
from reefscan.base.question import Question
from reefscan.io import handles, words


@dataclass(frozen=True)
class Choice:
    """An open dataset and the bands to use.

    Parameters
    ----------
    dataset : DatasetReader
        Open; the caller closes it.
    path : str
        What was opened.
    options : tuple of (str, str)
        With these options.
    band, sigma_band, quality_band : int
        Bands; 0 for none.
    label : str
        Name of the band or variable.
    driver : str
        GDAL's name of the form.
    sigma_path : str
        What to open for the uncertainty, where it is a variable of its own.
    filled_path : str
        What to open for the flag of cells filled in between soundings; empty if there is none.
    notes : tuple of str
        What was decided on the way.
    """

    dataset: Any
    path: str
    options: tuple[tuple[str, str], ...]
    band: int
    sigma_band: int
    quality_band: int
    label: str
    driver: str
    notes: tuple[str, ...] = ()
    sigma_path: str = ""
    filled_path: str = ""


def choose(path: str, name: str, variable: str | None) -> Choice:
    """Open a file and pick the band of depths or elevations.

    Raises
    ------
    UnreadableError, AmbiguousError, InputError
        If nothing in it can be the seabed, or more than one thing can.
    """
    # Over a network what was looked at stays in GDAL's cache with the dataset, and is not fetched twice.
    dataset = handles.borrow(path) if handles.is_remote(path) else handles.open_dataset(path)
    options: tuple[tuple[str, str], ...] = ()
    notes: list[str] = []
    try:
        driver = str(dataset.driver)
        if driver == "BAG" and _varies(dataset):
            _done(dataset, path)
            options = (("MODE", "RESAMPLED_GRID"), ("RES_STRATEGY", "MIN"))
            dataset = handles.open_dataset(path, options)
            notes.append(f"cells of several sizes, read at the finest ({dataset.res[0]:.6g})")
        elif dataset.count == 0 or (driver in ("netCDF", "HDF5") and dataset.subdatasets):
            subs = list(dataset.subdatasets)
            _done(dataset, path)
            return _of_many(path, subs, name, variable)
        return _of_bands(dataset, path, options, name, variable, notes)
    except BaseException:
        _done(dataset, path)
        raise


def _done(dataset: Any, path: str) -> None:
    """Close a dataset that is not this thread's borrowed one."""
    if not handles.is_remote(path):
        dataset.close()


def _varies(dataset: Any) -> bool:
    tags = dataset.tags()
    return "MIN_RESOLUTION_X" in tags or "HAS_SUPERGRIDS" in tags


def _of_bands(
    dataset: Any,
    path: str,
    options: tuple[tuple[str, str], ...],
    name: str,
    variable: str | None,
    notes: list[str],
) -> Choice:
    tags = dataset.tags()
    if "RECIPE_FIND" in tags or tags.get("TITLE") == words.SCORE_TITLE:  # what `layers` and `scan` write
        raise InputError(f"{name}: is a layer that reefscan made ({tags.get('TITLE')}), not a grid of depths")
    labels = [_label(dataset, band) for band in range(1, dataset.count + 1)]
    sigma = next((i for i, text in enumerate(labels, 1) if words.says(text, words.SIGMA_WORDS)), 0)
    quality = next((i for i, text in enumerate(labels, 1) if words.says(text, words.QUALITY_WORDS)), 0)
    whole = variable
    variable, layer = _step_asked(variable)
    if dataset.driver == "netCDF" and dataset.count > 1 and len(set(labels)) == 1:
        band = _one_layer(dataset, labels[0], variable, layer, name)
    elif whole and variable:
        named = whole in labels
        if layer > 1 and not named:
            raise InputError(
                f"{name}: --variable {whole} asks for layer {layer} of {variable!r}, which has one; say --variable {variable}"
            )
        band = _asked_for(labels, whole if named else variable, name)
    else:
        band = _guess(dataset, labels, sigma, quality, name, notes)
    if band == sigma:
        sigma = 0
    return Choice(
        dataset,
        path,
        options,
        band,
        sigma,
        quality,
        labels[band - 1],
        str(dataset.driver),
        tuple(notes),
    )


def _label(dataset: Any, band: int) -> str:
    tags = {k.lower(): str(v) for k, v in dataset.tags(band).items()}
    text = dataset.descriptions[band - 1] or tags.get("netcdf_varname") or ""
    if not text and str(dataset.driver) == "netCDF" and dataset.name.count(":") >= 2:
        text = dataset.name.rsplit(":", 1)[1]
    return str(text)


def _step_asked(variable: str | None) -> tuple[str | None, int]:
    """Split ``name:3`` into the variable and its layer, 0 if none is named."""
    head, mark, tail = (variable or "").rpartition(":")
    if mark and head and tail.isdigit():
        return head, int(tail)
    return variable, 0


def _one_layer(dataset: Any, label: str, variable: str | None, layer: int, name: str) -> int:
    """Band of one variable with more dimensions than two, whose bands are its layers."""
    if variable and variable.isdigit() and not layer:
        layer = int(variable)
    elif variable and variable.lower() != label.lower():
        raise InputError(f"{name}: has no variable {variable!r}; it has {label}")
    if 1 <= layer <= dataset.count:
        return layer
    along = dataset.tags().get("NETCDF_DIM_EXTRA", "").strip("{}").replace(",", ", ")
    found = f"no layer {layer}; it has" if layer else "has"
    raise AmbiguousError(
        f"{name}: variable {label!r} {found} {dataset.count} layers{f' along {along}' if along else ''}; "
        f"say which with --variable {label}:1"
    )


def _asked_for(labels: list[str], variable: str, name: str) -> int:
    for band, text in enumerate(labels, 1):
        if variable in (text, str(band)) or variable.lower() == text.lower():
            return band
    shown = ", ".join(f"{i} ({t})" if t else str(i) for i, t in enumerate(labels, 1))
    raise InputError(f"{name}: has no band or variable {variable!r}; it has {shown}")


def _which(labels: Sequence[str]) -> Question:
    """The question which band or variable holds the depths."""
    return Question("--variable", "Which of them holds the depths?", tuple((label, "") for label in labels))


def _guess(dataset: Any, labels: list[str], sigma: int, quality: int, name: str, notes: list[str]) -> int:
    colours = [str(c.name) for c in dataset.colorinterp]
    if {"red", "green", "blue"} <= set(colours) or (
        dataset.dtypes[0] == "uint8" and (colours[0] == "palette" or dataset.count in (3, 4))
    ):
        raise InputError(f"{name}: is a picture, not a grid of depths")
    usable = [
        band
        for band in range(1, dataset.count + 1)
        if band not in (sigma, quality)
        and not words.says(labels[band - 1], words.SIGMA_WORDS + words.QUALITY_WORDS)
        and colours[band - 1] != "alpha"
        and not words.NOT_DEPTH.search(labels[band - 1])
    ]
    named = [band for band in usable if words.says(labels[band - 1], words.UP_WORDS + words.DOWN_WORDS)]
    if len(named) > 1:
        several = ", ".join(labels[band - 1] for band in named)
        named = _plainest(named, labels) or named
        notes.append(f"band {labels[named[0] - 1]!r} of {several}")
        if len(named) > 1:
            raise AmbiguousError(
                f"{name}: bands {several} could each be the depths; say which with --variable",
                asks=_which([labels[band - 1] for band in named]),
            )
    if named:
        return named[0]
    if len(usable) == 1 or (usable and not any(labels)):
        if len(usable) > 1 and dataset.count == 2:
            notes.append("the first of two bands without names is taken; say --variable 2 for the other")
        if len(usable) > 1 and dataset.count > 2:
            raise AmbiguousError(
                f"{name}: has {dataset.count} bands without names; say which holds the depths with --variable 1",
                asks=_which([str(band) for band in usable]),
            )
        return usable[0]
    if not usable:
        shown = ", ".join(label or "unnamed" for label in labels)
        raise InputError(f"{name}: no band of depths ({shown}); if one is, say --variable")
    shown = ", ".join(labels[band - 1] or str(band) for band in usable)
    raise AmbiguousError(
        f"{name}: bands {shown} could each be the depths; say which with --variable",
        asks=_which([labels[band - 1] or str(band) for band in usable]),
    )


def _plainest(named: list[int], labels: list[str]) -> list[int]:
    """Of several bands of depths the one that is called just so, else the one of means; none if neither is one."""
    texts = {band: labels[band - 1].lower() for band in named}
    just = [band for band, text in texts.items() if text in words.UP_WORDS + words.DOWN_WORDS]
    mean = [band for band, text in texts.items() if words.says(text, ("mean", "average", "avg"))]
    return just if len(just) == 1 else mean if len(mean) == 1 else []


def _of_many(path: str, subs: list[str], name: str, variable: str | None) -> Choice:
    """Pick one of the variables of a netCDF or HDF5 file by units and standard_name, then by name."""
    if not subs:
        raise UnreadableError(
            "it holds no grid with a place on Earth; if it is a table or a MATLAB file, write lines of 'x y z' to a text "
            "file ending in .xyz and open that with --crs"
        )
    if '"' in path:
        raise UnreadableError(
            "its variables cannot be named: rename the file or folder without the quotation mark"
        )
    seen, ranked = _variables(path, subs)
    variable, layer = _step_asked(variable) if variable not in seen else (variable, 0)
    if variable:
        sub_asked = next((s for lab, s in seen.items() if lab.lower() == variable.lower()), None)
        if sub_asked is None:
            raise InputError(f"{name}: has no variable {variable!r}; it has {', '.join(seen)}")
        label, sub = variable, sub_asked
    else:
        label = _likeliest(ranked, list(seen), name)
        sub = seen[label]
    dataset = handles.open_dataset(sub)
    try:
        asked = None if dataset.count > 1 else "1"
        choice = _of_bands(dataset, sub, (), name, f"{label}:{layer}" if layer else asked, [])
    except BaseException:
        dataset.close()
        raise
    sigma = _sigma_of(seen, label, choice.dataset.shape)
    return dataclasses.replace(
        choice,
        label=label,
        notes=(f"variable {label!r} of {', '.join(seen)}",),
        sigma_band=1 if sigma else 0,
        sigma_path=sigma,
        filled_path=_alike(seen, [n for n in seen if "interpolat" in n.lower()], choice.dataset.shape),
    )


def _variables(path: str, subs: list[str]) -> tuple[dict[str, str], list[tuple[int, str]]]:
    """What opens each variable, by its name; and how much each that opens looks like a seabed."""
    seen: dict[str, str] = {}
    ranked: list[tuple[int, str]] = []
    for sub in subs:
        last = sub.rsplit(":", 1)[1]
        label = last.strip("/")
        if sub.lower().startswith("netcdf:"):
            sub = f'NETCDF:"{path}":{last}'  # as it is listed, a name with an apostrophe or a colon does not open
        seen[label] = sub
        try:
            with handles.open_dataset(sub) as dataset:
                ranked.append((_likeness(dataset, label), label))
        except UnreadableError:
            continue
    return seen, ranked


def _likeliest(ranked: list[tuple[int, str]], names: list[str], name: str) -> str:
    """The one variable that looks most like a seabed."""
    top = max((score for score, _ in ranked), default=0)
    if top <= 0:
        raise InputError(
            f"{name}: none of its variables ({', '.join(names)}) looks like a seabed; if one is, say --variable"
        )
    best = [label for score, label in ranked if score == top]
    # elevation beside elevation_min and elevation_max: the others are said of it
    whole = [one for one in best if all(other.lower().startswith(one.lower()) for other in best)]
    best = whole[:1] or best
    if len(best) > 1:
        raise AmbiguousError(
            f"{name}: variables {', '.join(best)} could each be the seabed; say which with --variable {best[0]}",
            asks=_which(best),
        )
    return best[0]


def _sigma_of(seen: dict[str, str], label: str, shape: tuple[int, int]) -> str:
    """The variable that holds the uncertainty of ``label``: the one with its name in it, else the only one."""
    found = [name for name in seen if name != label and words.says(name, words.SIGMA_WORDS)]
    found = [name for name in found if label.lower() in name.lower()] or found
    return _alike(seen, found, shape)


def _alike(seen: dict[str, str], found: list[str], shape: tuple[int, int]) -> str:
    """What to open for the one variable that was found, if its cells are those of the seabed."""
    if len(found) != 1:
        return ""
    try:
        with handles.open_dataset(seen[found[0]]) as dataset:
            return seen[found[0]] if dataset.shape == shape else ""
    except UnreadableError:
        return ""


def _likeness(dataset: Any, label: str) -> int:
    """How much a variable looks like a seabed: standard_name counts most, then units, then its name."""
    tags = {k.lower(): str(v) for k, v in dataset.tags(1).items()}
    if dataset.width < 2 or dataset.height < 2 or words.foreign_unit(tags.get("units")):
        return 0
    if words.NOT_DEPTH.search(label) or words.says(label, words.SIGMA_WORDS + words.QUALITY_WORDS):
        return 0
    score = 1
    if tags.get("standard_name") in words.STANDARD_NAMES:
        score += 8
    elif tags.get("standard_name"):
        return 0
    if words.unit_metres(tags.get("units")) is not None:
        score += 4
    if words.says(label, words.UP_WORDS + words.DOWN_WORDS) or label.lower() in ("z", "band1", "bathymetry"):
        score += 2
    return score
