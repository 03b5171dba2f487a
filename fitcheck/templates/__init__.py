"""Templates: what a sheet, panel, mount or bracket looks like when it is marked out, as plain data."""
