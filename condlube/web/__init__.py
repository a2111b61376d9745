"""Review pages: server-rendered, thin, reaching data only through operations."""
