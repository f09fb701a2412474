"""What the readings say of the wall all round the wire."""
