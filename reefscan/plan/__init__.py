"""A night's plan from sites, a tide and a gear book: no file is touched here."""
