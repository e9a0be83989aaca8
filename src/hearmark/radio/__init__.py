"""The radio: one port of few calls, none of which transmits; orders that are safe at every instant; the guard."""
