"""Where in a TOML text each key stands: the standard parser gives values without lines."""

from __future__ import annotations

from collections.abc import Mapping

KeyPath = tuple[str | int, ...]
"""Table keys and list positions from the root to a value."""

_BARE = frozenset("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789_-")
_ESCAPES = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\"}


def key_lines(text: str) -> Mapping[KeyPath, int]:
    r"""Find the line of every key and list entry.

    Parameters
    ----------
    text : str
        TOML that :mod:`tomllib` has accepted; anything else gives lines that mean nothing.

    Returns
    -------
    mapping of KeyPath to int
        Line, counted from 1. The root, ``()``, is on line 1.

    Examples
    --------
    >>> lines = key_lines('a = 1\nb = [\n  { c = 2 },\n]\n[d.e]\nf = 3')
    >>> lines["a",], lines["b", 0, "c"], lines["d", "e"], lines["d", "e", "f"]
    (1, 3, 5, 6)
    """
    scanner = _Scanner(text)
    scanner.document()
    return scanner.lines


def line_of(lines: Mapping[KeyPath, int], path: KeyPath) -> int:
    r"""Return the line of a key, or of what should hold it when it is missing.

    Examples
    --------
    >>> line_of(key_lines("a = 1\n[b]\nc = 2"), ("b", "missing"))
    2
    """
    while path not in lines and path:
        path = path[:-1]
    return lines.get(path, 1)


class _Scanner:
    """Walks over a valid text and notes where keys and list entries begin."""

    def __init__(self, text: str) -> None:
        self.lines: dict[KeyPath, int] = {(): 1}
        self._text = text.replace("\r\n", "\n")
        self._at = 0
        self._line = 1

    def document(self) -> None:
        table: KeyPath = ()
        tables: dict[KeyPath, int] = {}
        while self._skip(newlines=True):
            if self._peek("["):
                table = self._header(tables)
            else:
                self._pair(table)

    def _peek(self, start: str) -> bool:
        return self._text.startswith(start, self._at)

    def _take(self, count: int = 1) -> str:
        taken = self._text[self._at : self._at + count]
        self._line += taken.count("\n")
        self._at += count
        return taken

    def _skip(self, *, newlines: bool) -> bool:
        """Skip blanks and comments; tell whether anything is left."""
        blanks = " \t\n" if newlines else " \t"
        while self._at < len(self._text):
            if self._text[self._at] in blanks:
                self._take()
            elif newlines and self._peek("#"):
                while self._at < len(self._text) and not self._peek("\n"):
                    self._take()
            else:
                return True
        return False

    def _note(self, path: KeyPath, line: int) -> None:
        for length in range(1, len(path) + 1):
            self.lines.setdefault(path[:length], line)

    def _header(self, tables: dict[KeyPath, int]) -> KeyPath:
        line = self._line
        brackets = 2 if self._peek("[[") else 1
        self._take(brackets)
        keys = self._key()
        self._take(brackets)
        path: KeyPath = ()
        for key in keys[:-1]:
            path += (key,)
            if path in tables:
                path += (tables[path],)
        path += (keys[-1],)
        if brackets == 2:
            tables[path] = tables.get(path, -1) + 1
            self._note(path, line)
            path += (tables[path],)
        elif path in tables:
            path += (tables[path],)
        self._note(path, line)
        self.lines[path] = line
        return path

    def _pair(self, table: KeyPath) -> None:
        line = self._line
        path = table + self._key()
        self._note(path, line)
        self._take()  # the equals sign
        self._skip(newlines=False)
        self._value(path)

    def _key(self) -> tuple[str, ...]:
        parts = []
        while True:
            self._skip(newlines=False)
            if self._peek('"') or self._peek("'"):
                parts.append(self._string())
            else:
                begin = self._at
                while self._at < len(self._text) and self._text[self._at] in _BARE:
                    self._at += 1
                if begin == self._at:
                    self._take()  # not TOML: go on all the same
                parts.append(self._text[begin : self._at])
            self._skip(newlines=False)
            if not self._peek("."):
                return tuple(parts)
            self._take()

    def _value(self, path: KeyPath) -> None:
        if self._peek("["):
            self._list(path)
        elif self._peek("{"):
            self._inline_table(path)
        elif self._peek('"') or self._peek("'"):
            self._string()
        else:
            while self._at < len(self._text) and self._text[self._at] not in ",]}\n#":
                self._at += 1

    def _list(self, path: KeyPath) -> None:
        self._take()
        number = 0
        while self._skip(newlines=True) and not self._peek("]"):
            if self._peek(","):
                self._take()
                continue
            entry = (*path, number)
            self._note(entry, self._line)
            before = self._at
            self._value(entry)
            if self._at == before:
                self._take()
            number += 1
        self._take()

    def _inline_table(self, path: KeyPath) -> None:
        self._take()
        while self._skip(newlines=True) and not self._peek("}"):
            if self._peek(","):
                self._take()
                continue
            self._pair(path)
        self._take()

    def _string(self) -> str:
        quote = self._text[self._at]
        mark = 3 * quote if self._peek(3 * quote) else quote
        self._take(len(mark))
        content = []
        while self._at < len(self._text) and not self._peek(mark):
            if quote == '"' and self._peek("\\"):
                self._take()
                escape = self._take()
                content.append(_ESCAPES.get(escape, escape))
            else:
                content.append(self._take())
        self._take(len(mark))
        # A long string may end in up to two quotes of its own.
        while len(mark) == 3 and self._peek(quote):
            content.append(self._take())
        return "".join(content)
