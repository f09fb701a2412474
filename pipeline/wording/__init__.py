"""The words for codes: one template a code, in which typed arguments are shown in the reader's units."""
