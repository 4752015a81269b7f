"""PostgreSQL as Django knows it, with each transaction told which teams it acts for; `teams.walls` says which."""
