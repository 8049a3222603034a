"""From files to records and benches."""
