"""The offline page, cards, picks, and runs compared."""
