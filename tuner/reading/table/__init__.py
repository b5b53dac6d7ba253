"""A `Sheet` into a `Source`: words, headers, units, options, which column plays which role, which way it counts."""
