"""Records into fits: one module per record kind, one choice of law, honest intervals.

Takes records; gives `results` values. Uses: errors, estimates, records, laws, signals, scipy.optimize.
"""
