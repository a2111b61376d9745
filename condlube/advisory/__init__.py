"""Advisory generation and prognosis (ISO 13374 AG, PA): guards, cost, due date, what to do."""
