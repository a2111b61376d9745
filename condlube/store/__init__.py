"""Where rows live: Delta Lake tables and the SQL ledger that commits them."""
