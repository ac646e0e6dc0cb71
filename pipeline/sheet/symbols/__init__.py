"""How each kind of symbol is drawn."""
