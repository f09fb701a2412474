"""One figure, one function: from a record to a plain description that the plotting script draws."""
