"""PostgreSQL as Django knows it, with the teams acted for set in each transaction; see `teams.row_security`."""
