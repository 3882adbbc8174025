"""Published and stated values, one source per row. Read by `analysis.ratings`; see there for the columns."""
