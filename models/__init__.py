"""What loaftrace knows: logs, rules, water, charts, causes. Imports neither Prefect nor Plotly."""
