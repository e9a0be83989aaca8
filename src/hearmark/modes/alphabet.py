"""The symbols that the Morse reader tells apart."""

ALPHABET = " ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789/?=+.,-&"
"""Reader index 0 is the blank, index i + 1 is ALPHABET[i]; = is BT, + is AR, & is BK (ITU-R M.1677-1)."""


def collapse(symbols: list[int] | tuple[int, ...]) -> str:
    """Best symbol of each step to text: repeats without a blank between are one, blanks vanish."""
    text, last = [], 0
    for symbol in symbols:
        if symbol != last and symbol:
            text.append(ALPHABET[symbol - 1])
        last = symbol
    return "".join(text)
