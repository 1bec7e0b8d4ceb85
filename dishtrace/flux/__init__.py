"""From tallies to numbers with errors: the ledger, what each part gets, the spot, and the result of a trace."""
