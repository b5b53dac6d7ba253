"""Records of a bench or of hung weights: sweep, cycle, weights, and what makes them doubtful."""
