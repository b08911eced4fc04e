"""Large type for a terminal: letters five points high, drawn with block characters. For eyes at the other end of the bench."""

import textwrap

_FONT = """
0 111 101 101 101 111 | 1 010 110 010 010 111 | 2 111 001 111 100 111 | 3 111 001 011 001 111 | 4 101 101 111 001 001
5 111 100 111 001 111 | 6 111 100 111 101 111 | 7 111 001 010 010 010 | 8 111 101 111 101 111 | 9 111 101 111 001 111
A 010 101 111 101 101 | B 110 101 110 101 110 | C 011 100 100 100 011 | D 110 101 101 101 110 | E 111 100 110 100 111
F 111 100 110 100 100 | G 011 100 101 101 011 | H 101 101 111 101 101 | I 111 010 010 010 111 | J 001 001 001 101 010
K 101 101 110 101 101 | L 100 100 100 100 111 | N 1001 1101 1011 1001 1001 | O 010 101 101 101 010 | P 110 101 110 100 100
Q 0110 1001 1001 1011 0111 | R 110 101 110 101 101 | S 011 100 010 001 110 | T 111 010 010 010 010 | U 101 101 101 101 111
V 101 101 101 101 010 | X 101 101 010 101 101 | Y 101 101 010 010 010 | Z 111 001 010 100 111 | - 000 000 111 000 000
M 10001 11011 10101 10001 10001 | W 10001 10001 10101 11011 10001 | Ω 01110 10001 10001 01010 11011
m 00000 00000 11010 10101 10101 | . 0 0 0 0 1 | : 0 1 0 1 0 | , 00 00 00 01 10 | ? 110 001 010 000 010 | ! 1 1 1 0 1 | ' 1 1 0 0 0
"""
_ROWS = 5
_POINTS = {each.split()[0]: each.split()[1:] for line in _FONT.strip().splitlines() for each in line.split("|")}
_SPACE = ["00"] * _ROWS
_WIDEST = 6
_HALVES = {("0", "0"): " ", ("1", "0"): "▀", ("0", "1"): "▄", ("1", "1"): "█"}


def banner(text: str, columns: int) -> str:
    """The text in letters three rows high, as many lines as it needs; as it is where even one word does not fit."""
    lines = textwrap.wrap(text, max(1, columns // _WIDEST), break_long_words=False)
    drawn = [_halved(_points(line)) for line in lines]
    if not drawn or any(len(row) > columns for rows in drawn for row in rows):
        return text
    return "\n\n".join("\n".join(row.rstrip() for row in rows) for rows in drawn)


def display(text: str, columns: int) -> str:
    """A short text, as `4.70 kΩ`, in letters five rows high; smaller where that does not fit."""
    rows = [row.replace("1", "██").replace("0", "  ").rstrip() for row in _points(text)]
    return "\n".join(rows) if max(map(len, rows), default=0) <= columns else banner(text, columns)


def _points(text: str) -> list[str]:
    letters = [_POINTS.get(letter, _POINTS.get(letter.upper(), _SPACE)) for letter in text]
    return ["0".join(letter[row] for letter in letters) for row in range(_ROWS)]


def _halved(rows: list[str]) -> list[str]:
    """Two rows of points in one row of characters."""
    pairs = zip([*rows, "0" * len(rows[0])][::2], [*rows, "0" * len(rows[0])][1::2], strict=True)
    return ["".join(_HALVES[upper, lower] for upper, lower in zip(*pair, strict=True)) for pair in pairs]
