"""A simulated extrusion line that logs what its instruments would see, with the truth beside it."""
