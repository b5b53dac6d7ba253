"""Bytes of a file into a `Sheet`: encoding, dialect, cells, rows. Knows no trade: no roles, no units."""
