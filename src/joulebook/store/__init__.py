"""Where sections are kept: an append-only list of changes for each, with the files that they brought."""
