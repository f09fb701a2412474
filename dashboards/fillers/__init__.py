"""The records behind the pages, filled from the store; the pages themselves work nothing out."""
