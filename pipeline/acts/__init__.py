"""Acts of persons: decisions, holds, samples, shipments and what is handed over, each with its rules."""
