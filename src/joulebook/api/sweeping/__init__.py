"""A sweep from the inside: what is swept, who audits it, and how the results are kept and written; `joulebook.api.sweeps` is its door."""
