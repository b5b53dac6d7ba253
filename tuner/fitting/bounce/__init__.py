"""A bounce into damping of both sides: free ring-downs fitted with a two-mass corner, all together.

Takes bounce records of one setting and what is known of the corner; gives a `DampingFit`.
"""

from tuner.fitting.bounce.fit import fit_bounce

__all__ = ["fit_bounce"]
