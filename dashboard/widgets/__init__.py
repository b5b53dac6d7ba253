"""Pieces that several pages share.

Modules: `bar` (over every page), `inputs` (what a page works on), `adding` (a record into a run), `runs` (the
recordings of a run), `corners` (machine and corner), `verdict`, `pages` (sections and tables), `figures`, `explore` (a
recording over time), `downloads`.
"""
