"""What is on file: tables, standings, holds, stretches and the journal, and how they are kept."""
