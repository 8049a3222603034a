"""From a record to a report, one noun and its verb in each file; the engine knows no experiment."""
