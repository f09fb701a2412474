"""Where the wire came from and went, and the record that proves it unchanged."""
