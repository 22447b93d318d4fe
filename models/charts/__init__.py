"""Control charts: what is charted, its baseline, its limits, its episodes, and what an alarm is worth."""
