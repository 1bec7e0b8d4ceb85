"""On which line each key of a TOML text stands.

The standard reader gives no line numbers, so this is a small scanner beside it. It takes a text that the
standard reader has already accepted and therefore need not check the grammar, only keep its place.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right

KeyPath = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BASIC = re.compile(r'"(?:[^"\\\n]|\\.)*"')
_LITERAL = re.compile(r"'[^'\n]*'")
_LONG_BASIC = re.compile(r'"""(?:[^\\]|\\.)*?"""+', re.DOTALL)
_LONG_LITERAL = re.compile(r"'''.*?'''+", re.DOTALL)
_BARE_VALUE = re.compile(r"[^,\]}#\n]*")


def key_lines(text: str) -> dict[KeyPath, int]:
    """Line of every key, table and array item of a well-formed TOML text.

    Parameters
    ----------
    text : str
        A text that `tomllib.loads` accepts.

    Returns
    -------
    dict
        Maps a path such as ``("part", 0, "center_m", 2)`` to its line, from 1; the empty path is line 1.
        Tables that are only implied (``[a.b]`` implies ``a``) carry the line of the first header or key that
        implies them.

    Notes
    -----
    Where the scanner loses its place, in a text that a later TOML reader accepts and it does not know, it stops
    and gives the lines found so far; keys after that are placed at their nearest enclosing table.
    """
    scanner = _Scanner(text.replace("\r\n", "\n"))
    try:
        scanner.document()
    except _LostPlaceError:
        return scanner.lines
    return scanner.lines


def nearest_line(lines: dict[KeyPath, int], path: KeyPath) -> int | None:
    """Line of a path; of the nearest enclosing table when the key itself is not in the text."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return lines.get(())


class _LostPlaceError(Exception):
    """The text is not written as the scanner knows it."""


class _Scanner:
    """Walks a text once and notes where each key stands."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.line_starts = [0, *(match.end() for match in re.finditer("\n", text))]
        self.lines: dict[KeyPath, int] = {(): 1}
        self.n_items: dict[KeyPath, int] = {}

    def document(self) -> None:
        """Headers and keys up to the end of the text."""
        table: KeyPath = ()
        self.skip(_BLANK)
        while self.at < len(self.text):
            if self.here == "[":
                table = self.header()
            else:
                self.key_and_value(table)
            self.skip(_BLANK)

    @property
    def here(self) -> str:
        """The character reached."""
        if self.at >= len(self.text):
            raise _LostPlaceError
        return self.text[self.at]

    def skip(self, pattern: re.Pattern[str]) -> str:
        """Step over what a pattern matches here; gives that text, empty where it does not match."""
        match = pattern.match(self.text, self.at)
        if match is None:
            return ""
        self.at = match.end()
        return match.group()

    def note(self, path: KeyPath) -> None:
        """Keep the line of the place reached, unless the path has one."""
        self.lines.setdefault(path, bisect_right(self.line_starts, self.at))

    def header(self) -> KeyPath:
        """A ``[table]`` or ``[[array of tables]]`` header; gives the path of the keys below it."""
        start = self.at
        is_array = self.text.startswith("[[", self.at)
        self.at += 2 if is_array else 1
        keys = self.dotted_key()
        self.at += 2 if is_array else 1
        end, self.at = self.at, start
        path: KeyPath = ()
        for key in keys[:-1]:
            path = self.newest((*path, key))
        path = (*path, keys[-1])
        if is_array:
            self.note(path)
            self.n_items[path] = self.n_items.get(path, 0) + 1
        path = self.newest(path)
        self.note(path)
        self.at = end
        return path

    def newest(self, path: KeyPath) -> KeyPath:
        """The path itself, or its last item when it is an array of tables; its line is noted."""
        self.note(path)
        count = self.n_items.get(path)
        return path if count is None else (*path, count - 1)

    def dotted_key(self) -> list[str]:
        """Keys joined by dots, quotes taken off."""
        keys = []
        while True:
            self.skip(_SPACE)
            keys.append(self.one_key())
            self.skip(_SPACE)
            if not self.text.startswith(".", self.at):
                return keys
            self.at += 1

    def one_key(self) -> str:
        """One bare or quoted key."""
        first = self.here
        written = self.skip({'"': _BASIC, "'": _LITERAL}.get(first, _BARE_KEY))
        if not written:
            raise _LostPlaceError
        if first == '"':
            return tomllib.loads(f"key = {written}")["key"]
        return written[1:-1] if first == "'" else written

    def key_and_value(self, table: KeyPath) -> None:
        """``a.b = value`` inside a table."""
        start = self.at
        keys = self.dotted_key()
        self.at, end = start, self.at
        path = table
        for key in keys:
            path = (*path, key)
            self.note(path)
        self.at = end + 1
        self.skip(_SPACE)
        self.value(path)

    def value(self, path: KeyPath) -> None:
        """Any value; inside arrays and inline tables its items are noted too."""
        if self.here == "[":
            self.array(path)
        elif self.here == "{":
            self.inline_table(path)
        else:
            for pattern in (_LONG_BASIC, _LONG_LITERAL, _BASIC, _LITERAL, _BARE_VALUE):
                if self.skip(pattern):
                    return
            raise _LostPlaceError

    def array(self, path: KeyPath) -> None:
        """``[value, value]``, over as many lines as it takes."""
        self.at += 1
        n_items = 0
        self.skip(_BLANK)
        while self.here != "]":
            self.note((*path, n_items))
            self.value((*path, n_items))
            n_items += 1
            self.skip_comma()
        self.at += 1

    def inline_table(self, path: KeyPath) -> None:
        """``{ key = value, key = value }``."""
        self.at += 1
        self.skip(_BLANK)
        while self.here != "}":
            self.key_and_value(path)
            self.skip_comma()
        self.at += 1

    def skip_comma(self) -> None:
        """Blanks, comments and at most one comma."""
        self.skip(_BLANK)
        if self.here == ",":
            self.at += 1
            self.skip(_BLANK)
