"""One module a page: a pure step from a frozen record to a file."""
