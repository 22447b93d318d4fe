"""From charts and limits to alerts with a life."""
