"""Streams numbers out of delimited text and says where a bad row or value stands."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import pyarrow as pa
import pyarrow.csv as pa_csv

from imujump.errors import CorruptError, RecordingError

MISSING = ("n/a", "", "N/A", "NA")
"""Texts that stand for a value that was not measured (``n/a`` is the open standard's)."""

BLOCK_BYTES = 1 << 18
"""Text parsed at once: own choice, about 1600 rows of 18 channels."""

_SNIFF_BYTES = 1 << 16


@dataclass(frozen=True, slots=True)
class TextTable:
    """A delimited text file.

    ``names`` are the columns from left to right, as shown in messages; ``header_rows`` lines
    at the top are skipped. Columns are addressed by their position, as text: ``"0"``. With
    ``quoted``, double quotes may enclose a cell.
    """

    path: Path
    names: tuple[str, ...]
    delimiter: str = "\t"
    decimal: str = "."
    header_rows: int = 0
    quoted: bool = False

    def batches(self, keys: Sequence[str]) -> Iterator[pa.RecordBatch]:
        """Yield the columns ``keys`` as float64 record batches; missing values are null.

        Raises
        ------
        CorruptError
            If a row has too few or too many columns or a value is no number.
        RecordingError
            If the file cannot be read.
        """
        all_keys = [str(position) for position in range(len(self.names))]
        size = complete_bytes(self.path)
        try:
            with self._open(size) as stream:
                yield from pa_csv.open_csv(
                    stream,
                    read_options=pa_csv.ReadOptions(
                        column_names=all_keys,
                        skip_rows=self.header_rows,
                        block_size=BLOCK_BYTES,
                        use_threads=False,
                    ),
                    parse_options=pa_csv.ParseOptions(
                        delimiter=self.delimiter,
                        quote_char='"' if self.quoted else False,
                        double_quote=self.quoted,
                        ignore_empty_lines=False,
                    ),
                    convert_options=pa_csv.ConvertOptions(
                        column_types=dict.fromkeys(all_keys, pa.float64()),
                        null_values=list(MISSING),
                        include_columns=list(keys),
                        decimal_point=self.decimal,
                    ),
                )
        except OSError as error:
            raise unreadable(self.path, error) from error
        except (pa.ArrowException, ValueError) as error:
            place = self._first_fault(keys) or "the text cannot be read as a table"
            raise CorruptError(
                self.path, place, "repair that row or export the recording again"
            ) from error

    def _open(self, size: int) -> pa.NativeFile:
        if size == self.path.stat().st_size:
            return pa.OSFile(str(self.path))
        # An unfinished last row is kept from the parser.
        return pa.BufferReader(pa.memory_map(str(self.path)).read_buffer(size))

    def _first_fault(self, keys: Sequence[str]) -> str | None:
        """Name row and column of the first fault, reading the file again line by line."""
        wanted = [int(key) for key in keys]
        first = self.header_rows + 1
        with self.path.open("rb") as stream:
            for number, line in enumerate(islice(stream, self.header_rows, None), start=first):
                text = line.rstrip(b"\r\n").decode("utf-8", errors="replace")
                fields = split_row(text, self.delimiter, quoted=self.quoted)
                if text and len(fields) != len(self.names):
                    expected = len(self.names)
                    return f"row {number} has {len(fields)} columns where {expected} are declared"
                for position in wanted if text else ():
                    if not self._is_number(fields[position].strip()):
                        shown = fields[position].strip()[:20]
                        return (
                            f"row {number}, column {self.names[position]}: "
                            f"{shown!r} is not a number"
                        )
        return None

    def _is_number(self, text: str) -> bool:
        if text in MISSING:
            return True
        if "_" in text or (self.decimal != "." and "." in text):
            return False
        try:
            float(text.replace(self.decimal, "."))
        except ValueError:
            return False
        return text.isascii()


def split_row(line: str, delimiter: str, *, quoted: bool) -> list[str]:
    """Split one row of a table into its cells.

    Examples
    --------
    >>> split_row('a,"b,c"', ",", quoted=True)
    ['a', 'b,c']
    """
    if not quoted:
        return line.split(delimiter)
    try:
        return next(csv.reader([line], delimiter=delimiter))
    except (csv.Error, StopIteration):
        return line.split(delimiter)


def read_text(path: Path) -> str:
    """Return a small file's UTF-8 text without byte order mark; a clear error otherwise."""
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise RecordingError(
            path, f"byte {error.start + 1} is not UTF-8 text", "save the file as UTF-8"
        ) from error
    except OSError as error:
        raise unreadable(path, error) from error


def first_lines(path: Path, count: int) -> list[str]:
    """Return up to ``count`` first lines without line ends, after checking that it is text.

    Raises
    ------
    RecordingError
        If the file is empty, cannot be read or is not UTF-8 text.
    """
    try:
        with path.open("rb") as stream:
            head = stream.read(_SNIFF_BYTES)
    except OSError as error:
        raise unreadable(path, error) from error
    if not head.strip():
        raise RecordingError(path, "the file is empty", "record or export it again")
    if b"\0" in head:
        raise RecordingError(
            path, "the file is not a text table", "choose the recording it was mistaken for"
        )
    lines = head.splitlines()[:count]
    try:
        return [line.decode("utf-8-sig") for line in lines]
    except UnicodeDecodeError as error:
        raise RecordingError(
            path, "the file is not UTF-8 text", "save it as UTF-8 or choose another file"
        ) from error


def complete_bytes(path: Path) -> int:
    """Return the length of the file up to the end of its last complete row.

    Raises
    ------
    RecordingError
        If the file cannot be read or holds no complete row.
    """
    try:
        with path.open("rb") as stream:
            end = stream.seek(0, 2)
            while end > 0:
                start = max(0, end - _SNIFF_BYTES)
                stream.seek(start)
                found = stream.read(end - start).rfind(b"\n")
                if found >= 0:
                    return start + found + 1
                end = start
    except OSError as error:
        raise unreadable(path, error) from error
    raise RecordingError(path, "the file holds no complete row", "export the recording again")


def ends_unfinished(path: Path) -> str | None:
    """Return the warning for a file whose last row has no line end, else None."""
    if complete_bytes(path) == path.stat().st_size:
        return None
    return "the last row has no line end, may be cut off and was left out"


def unreadable(path: Path, error: OSError) -> RecordingError:
    """Return the error for a file that the system does not let us read."""
    reason = (error.strerror or str(error)).lower()
    return RecordingError(path, f"cannot be read ({reason})", "check the name and the rights")
