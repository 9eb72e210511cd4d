"""Delimited text: comma, semicolon, bar, tab or blanks, with or without a header.

The form is worked out from the first lines; the body then runs through a columnar reader in
chunks. A row that does not fit is counted and passed over: a cut-off line, a second header, a
stretch of another program's messages.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import UTC, tzinfo
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv
from numpy.typing import NDArray

from reefscan.base.errors import AmbiguousError, UnreadableError
from reefscan.io.logs.asked import which_columns, which_crs
from reefscan.io.logs.columns import (
    UNITS,
    Columns,
    check_place,
    find_columns,
    parse_angle,
    parse_columns,
    to_degrees,
    to_numbers,
)
from reefscan.io.logs.times import to_seconds
from reefscan.io.opening import as_text, chunks, read_head
from reefscan.io.pointtext import counts_rows
from reefscan.io.words import which_unit
from reefscan.survey.table import Log

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class TextOptions:
    """What the person says about text that does not say it itself."""

    columns: str | None = None
    depth_unit: float | None = None
    zone: tzinfo = UTC
    crs: str | None = None
    swap_lonlat: bool = False
    dates: str | None = None


@dataclass(frozen=True)
class Layout:
    """How the rows of one file are written."""

    delimiter: str  # "," ";" "|" "\t" or " " for any run of blanks
    width: int
    columns: Columns
    header_rows: int  # of them no comments, which are counted by themselves
    decimal_comma: bool
    unit: str = ""  # written behind every depth
    twice: str = ""  # name of a column that is there more than once, and of which the first is read


def sniff(path: Path, options: TextOptions) -> Layout:
    """Work out delimiter, header, columns and decimal sign from the first lines.

    Raises
    ------
    UnreadableError
        Nothing in the first 64 kB looks like a table.
    AmbiguousError
        Columns without names, or a depth without a unit.
    """
    lines = [ln for ln in as_text(read_head(path)).split("\n")[:400] if ln.strip()]
    lines = lines[:-1] if len(lines) > 300 else lines
    body = [ln for ln in lines if not _is_comment(ln)]
    delimiter, width = _delimiter(body, path.name)
    header_at, header = 0, None
    for place, line in enumerate(lines[:60]):
        cells = [c.strip() for c in _split(line.lstrip("#/ \t"), delimiter)]
        if find_columns(cells) is not None:
            header_at, header = place + 1, cells
            break
    if header is None and options.columns is not None and body:
        first = [c.strip() for c in _split(body[0], delimiter)]
        if all(np.isnan(parse_angle(c)) for c in first):  # a header in no language we know
            header_at, header = lines.index(body[0]) + 1, first
    width = len(header) if header else width
    columns = parse_columns(options.columns, header) if options.columns else find_columns(header or [])
    if columns is None:
        raise AmbiguousError(
            _unnamed(body, delimiter, width, path.name), asks=which_columns(_split(body[0], delimiter))
        )
    if max(columns.index.values()) >= width:
        raise AmbiguousError(
            f"{path.name}: --columns names column {max(columns.index.values()) + 1} of {width}"
        )
    rows = [c for ln in lines[header_at:] if len(c := _split(ln, delimiter)) >= width]
    columns, unit = _with_unit(columns, rows, options, path.name)
    comma = delimiter != "," and sum(bool(re.search(r"\d,\d", "\t".join(r))) for r in rows) > 0.5 * max(
        len(rows), 1
    )
    head = sum(not _is_comment(ln) for ln in lines[:header_at])
    twice = "" if options.columns else _twice(header or [], columns)
    return Layout(delimiter, width, columns, head, comma, unit, twice)


def _twice(header: list[str], columns: Columns) -> str:
    """Name of a column that is read and that another has as well, empty if there is none."""
    names = [cell.lower() for cell in header]
    return next(
        (names[at] for at in columns.index.values() if at < len(names) and names.count(names[at]) > 1), ""
    )


def _is_comment(line: str) -> bool:
    return line.lstrip().startswith(("#", "//"))


def _delimiter(body: list[str], name: str) -> tuple[str, int]:
    """The delimiter by which most lines have one number of cells, and that number."""
    best: tuple[float, int, str] = (0.0, 0, ",")
    for delimiter in (";", "|", "\t", ",", " "):
        widths = [len(_split(ln, delimiter)) for ln in body]
        if not widths:
            break
        common = max(set(widths), key=widths.count)
        score = widths.count(common) / len(widths) * (common > 1)
        if score > best[0] + 0.1 and common > 1:
            best = (score, common, delimiter)
    share, width, delimiter = best
    if share < 0.5:
        raise UnreadableError(
            f"{name}: no table of soundings in its first lines; wanted delimited text, NMEA 0183, GPX or GeoJSON"
        )
    return delimiter, width


def _unnamed(body: list[str], delimiter: str, width: int, name: str) -> str:
    """What to say of columns without names that are known."""
    say = (
        "the first only counts the rows: say which of the others is which, such as --columns lon=2,lat=3,depth_m=4"
        if counts_rows([_split(line, delimiter) for line in body[1:20]])
        else "say which is which, such as --columns lon=1,lat=2,depth_m=3"
    )
    return f"{name}: {width} columns without names that are known, first row {body[0][:60]!r}; {say}"


def _with_unit(
    columns: Columns, rows: list[list[str]], options: TextOptions, name: str
) -> tuple[Columns, str]:
    """The columns with the unit of their depths, and that unit where it is written behind every depth.

    Raises
    ------
    AmbiguousError
        If nothing states the unit, or two things state different ones.
    """
    depth = columns.index.get("depth")
    unit = "" if depth is None else _unit_in_cells([row[depth] for row in rows], name)
    if unit:
        factor = UNITS[unit.lower()]
        if columns.unit_said and columns.depth_factor != factor:
            raise AmbiguousError(
                f"{name}: depths are written with the unit {unit!r}, but the column's name says another; correct one"
            )
        columns = replace(columns, depth_factor=factor, unit_said=True)
    if options.depth_unit is not None and not columns.unit_said:
        columns = replace(columns, depth_factor=options.depth_unit, unit_said=True)
    if not columns.unit_said and ("depth" in columns.index or "elev" in columns.index):
        at = columns.index.get("depth", columns.index.get("elev", 0))
        cells = pa.array([row[at] for row in rows], pa.string())
        values = to_numbers(cells, decimal_comma=any("," in row[at] for row in rows))
        raise AmbiguousError(
            f"{name}: the depth column states no unit; say --depth-unit m, ft or fathom",
            asks=which_unit(np.abs(values), "--depth-unit", "depths"),
        )
    return columns, unit


def _unit_in_cells(cells: list[str], name: str) -> str:
    """Unit written behind each depth (``32.8 ft``), empty if there is none.

    Raises
    ------
    AmbiguousError
        If there is more than one.
    """
    behind = {m[1] for cell in cells if (m := re.fullmatch(r"[-+\d.,]+\s*([A-Za-z]+)", cell.strip(' "')))}
    units = {word for word in behind if word.lower() in UNITS}
    if len({UNITS[word.lower()] for word in units}) > 1:
        raise AmbiguousError(
            f"{name}: depths are written in several units ({', '.join(sorted(units))}); write them in one"
        )
    return min(units, default="")


_INNER = "\x1f"
"""Stands for the delimiter inside a quoted field."""


def _unquoted(text: bytes, delimiter: str) -> bytes:
    """Take the quotation marks off fields that are quoted whole; any other is a letter like all others.

    A mark that nothing closes (inches, seconds of arc, a slip) would else swallow all rows up to the next one.
    """
    if b'"' not in text:
        return text
    mark = rb"[ \t]" if delimiter == " " else re.escape(delimiter.encode())
    pattern = rb"(?m)(^|" + mark + rb')([ \t]*)"((?:[^"\n]|"")*)"(?=[ \t]*(?:$|' + mark + rb"))"
    inner = re.compile(mark)

    def bare(match: re.Match[bytes]) -> bytes:
        return match[1] + inner.sub(_INNER.encode(), match[3]).replace(b'""', b'"')

    return re.sub(pattern, bare, text)


def _split(line: str, delimiter: str) -> list[str]:
    line = _unquoted(line.encode("utf-8", "replace"), delimiter).decode("utf-8", "replace")
    cells = line.split() if delimiter == " " else line.split(delimiter)
    return [cell.replace(_INNER, delimiter) for cell in cells]


@dataclass
class _Body:
    """What the body of a file gave so far: its columns, and what of it is no sounding."""

    layout: Layout
    options: TextOptions
    parts: dict[str, list[Floats]]
    lines: int = 0
    comments: int = 0
    odd: str = ""
    timeless: int = 0
    odd_time: str = ""

    def add(self, block: bytes) -> None:
        """Take some whole lines more."""
        first = self.lines == 0
        self.lines += len(_LINES.findall(block))
        self.comments += len(_COMMENTS.findall(block))
        table, passed = _parse(block, self.layout)
        self.odd = self.odd or next((row for row in passed if not _is_comment(row)), "")
        if table.num_rows == 0:
            return
        got = _convert(table, self.layout, self.options)
        usable = np.zeros(table.num_rows, bool)
        for kind in ("depth", "lat"):
            if kind in got:
                usable |= np.isfinite(got[kind])
        if "lat" in got and "depth" in got:
            usable = np.isfinite(got["lat"]) & np.isfinite(got["lon"])
        if "time" in got:
            self._count_timeless(table, np.isnan(got["time"]) & usable)
        for kind, values in got.items():
            self.parts[kind].append(values[usable])
        lost = np.flatnonzero(~usable)[self.layout.header_rows if first else 0 :]
        if lost.size and not self.odd:
            self.odd = self.layout.delimiter.join(str(c[int(lost[0])]) for c in table.columns)

    def _count_timeless(self, table: pa.Table, without: NDArray[np.bool_]) -> None:
        """Count rows whose time is written but is none."""
        words = table.column(str(self.layout.columns.index["time"]))
        written = np.asarray(pc.fill_null(pc.greater(pc.utf8_length(words), 0), False))
        rows = np.flatnonzero(without & written)
        self.timeless += rows.size
        if rows.size and not self.odd_time:
            self.odd_time = str(words[int(rows[0])])

    def notes(self, bad: int) -> tuple[str, ...]:
        """What the reader should know of it."""
        notes = []
        if "time" not in self.layout.columns.index:
            notes.append("no times: nothing that needs a clock was checked")
        if self.layout.twice:
            notes.append(
                f"more than one column is called {_shown(self.layout.twice)}, and the first is read; --columns says another"
            )
        if self.timeless:
            notes.append(f"{self.timeless:,} of its times are none, such as {_shown(self.odd_time)}")
        if bad:
            notes.append(f"{bad:,} of its {self.lines:,} lines hold no sounding, such as {_shown(self.odd)}")
        return tuple(notes)


def read_text(path: Path, options: TextOptions) -> Log:
    """Read a delimited log.

    Parameters
    ----------
    path : Path
    options : TextOptions

    Returns
    -------
    Log
        Rows whose numbers could not be read at all are counted in ``counts["bad lines"]``.
    """
    layout = sniff(path, options)
    body = _Body(layout, options, {k: [] for k in ("lon", "lat", "depth", "time")})
    for block in chunks(path):
        body.add(block)
    columns = {k: np.concatenate(v) if v else np.zeros(0) for k, v in body.parts.items()}
    size = max(c.size for c in columns.values())
    if size == 0:
        hint = f", such as {_shown(body.odd)}" if body.odd else ""
        if layout.delimiter == "," and body.odd.count(",") >= layout.width:
            hint += "; a decimal comma wants semicolons between the columns"
        raise UnreadableError(f"{path.name}: not one of its {body.lines} lines is a sounding or a fix{hint}")
    if options.swap_lonlat:
        columns["lon"], columns["lat"] = columns["lat"], columns["lon"]
    if options.crs is None:
        check_place(columns["lon"], columns["lat"], path.name)
        columns["lon"] = (columns["lon"] + 180.0) % 360.0 - 180.0
    if columns["time"].size == 0:
        columns["time"] = np.full(size, np.nan)
    # counted by subtraction, so that every line that goes in is either a sounding or counted here
    bad = body.lines - body.comments - layout.header_rows - size
    return Log(
        path.name, columns["lon"], columns["lat"], columns["depth"], columns["time"],
        np.full(columns["depth"].size, np.nan),
        "surface" if layout.columns.surface else "transducer",
        counts={"lines": body.lines, "bad lines": bad}, notes=body.notes(bad),
    )  # fmt: skip


_LINES = re.compile(rb"(?m)^[ \t]*[^\s]")
_COMMENTS = re.compile(rb"(?m)^[ \t]*(?:#|//)")


def refuse_two_ways(path: Path, options: TextOptions) -> None:
    """Ask what the first lines of a log tell that must be known of it, before any log is read whole.

    Raises
    ------
    AmbiguousError
        If its columns, its unit, its coordinate system or the order of its dates is not stated.
    """
    layout = sniff(path, options)
    head, _, _ = read_head(path).rpartition(b"\n")
    table, _ = _parse(head, layout)
    try:
        if table.num_rows:
            _convert(table, layout, options)
    except AmbiguousError as error:
        raise AmbiguousError(f"{path.name}: {error}", asks=error.asks) from None


def _shown(text: str) -> str:
    """A line of a file as it may stand in a message: short, without what steers a screen."""
    bare = "".join(ch if ch.isprintable() else " " for ch in text.replace(_INNER, " ")).strip()
    return repr(bare if len(bare) <= 60 else bare[:57] + "...")


def _parse(block: bytes, layout: Layout) -> tuple[pa.Table, list[str]]:
    """Turn lines into text columns; rows of another width are passed over and returned beside them."""
    delimiter = layout.delimiter
    block = _unquoted(block, delimiter)
    if delimiter == " ":
        block = re.sub(rb"[ \t]+", b"\t", re.sub(rb"(?m)^[ \t]+|[ \t]+$", b"", block))
        delimiter = "\t"
    try:
        block.decode("utf-8")
    except UnicodeDecodeError:
        block = block.decode("latin-1").encode("utf-8")
    names = [str(k) for k in range(layout.width)]
    passed: list[str] = []

    def pass_over(row: Any) -> str:
        if len(passed) < 100:
            passed.append(str(row.text))
        return "skip"

    need = sorted({str(v) for v in layout.columns.index.values()}, key=int)
    table = pacsv.read_csv(
        pa.BufferReader(block),
        read_options=pacsv.ReadOptions(column_names=names, block_size=4 << 20, use_threads=True),
        parse_options=pacsv.ParseOptions(
            delimiter=delimiter,
            invalid_row_handler=pass_over,
            ignore_empty_lines=True,
            quote_char=False,
        ),
        convert_options=pacsv.ConvertOptions(
            include_columns=need, column_types={n: pa.string() for n in need}, strings_can_be_null=True
        ),
    )
    return table.combine_chunks(), passed


def _convert(table: pa.Table, layout: Layout, options: TextOptions) -> dict[str, Floats]:
    index, comma = layout.columns.index, layout.decimal_comma

    def column(kind: str) -> pa.Array:
        chunked = table.column(str(index[kind]))
        return chunked.chunk(0) if chunked.num_chunks else pa.array([], pa.string())

    out: dict[str, Floats] = {}
    if {"lon", "lat"} <= index.keys():
        for kind, hemisphere, negative in (("lon", "ew", "W"), ("lat", "ns", "S")):
            out[kind] = to_degrees(column(kind), decimal_comma=comma)
            if hemisphere in index:
                letters = np.array([str(v or "").strip().upper()[:1] for v in column(hemisphere).to_pylist()])
                out[kind] = np.where(letters == negative, -np.abs(out[kind]), out[kind])
    elif {"x", "y"} <= index.keys():
        if options.crs is None:
            x, y = (to_numbers(column(k), decimal_comma=comma) for k in ("x", "y"))
            raise AmbiguousError(
                "columns x and y need their coordinate system; say --crs, such as --crs EPSG:32633",
                asks=which_crs(x, y),
            )
        out["lon"], out["lat"] = (to_numbers(column(k), decimal_comma=comma) for k in ("x", "y"))
    if "depth" in index or "elev" in index:
        kind = "depth" if "depth" in index else "elev"
        sign = 1.0 if kind == "depth" else -1.0
        values = column(kind)
        if layout.unit:
            values = pc.replace_substring_regex(values, r"(?i)\s*[a-z]+\s*$", "")
        out["depth"] = sign * layout.columns.depth_factor * to_numbers(values, decimal_comma=comma)
    if "time" in index:
        times = column("time")
        if "date" in index:
            pairs = zip(column("date").to_pylist(), times.to_pylist(), strict=True)
            times = pa.array([f"{d} {t}" for d, t in pairs])
        out["time"] = to_seconds(times, zone=options.zone, dates=options.dates)
    return out
