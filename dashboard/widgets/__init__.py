"""Pieces that several pages share.

Takes jobs, sections, figures and the workbench; gives what is seen. Uses: tuner, streamlit; bench, state, cache,
messages, examples. Rooms inside: `bar` (over every page), `gather` (what a page works on), `adding` (a record
into a run), `runs` (the recordings of a run), `place` (machine and corner), `verdict`, `pages` (sections and
tables), `pictures`, `explore` (a recording over time), `downloads`.
"""
