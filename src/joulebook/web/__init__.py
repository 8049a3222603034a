"""The room in a browser: a local web application for one period with a dozen benches."""
