"""Results for people and for other programs: tables, figures, summary and report."""
