"""Printed and exported records."""
