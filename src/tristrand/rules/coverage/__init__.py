"""Which clauses of a rule set the program answers, by which rules, and which it does not."""
