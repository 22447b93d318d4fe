"""Settings of the libraries that must hold before any of them is imported: nothing phones home, no threads that spin."""

from __future__ import annotations

import os

SETTINGS = {
    "DO_NOT_TRACK": "1",
    "PREFECT_SERVER_ANALYTICS_ENABLED": "false",
    "GX_ANALYTICS_ENABLED": "false",
    "PREFECT_SERVER_EPHEMERAL_STARTUP_TIMEOUT_SECONDS": "120",
    "PREFECT_LOGGING_LEVEL": "WARNING",
    "PREFECT_SERVER_UI_ENABLED": "false",
    # the matrices here are of some hundred rows: a second thread gains nothing, and beside a busy process its
    # waiting made a trace of 0.1 s one of 1.7 s
    "OPENBLAS_NUM_THREADS": "1",
}


def quiet() -> None:
    """Turn telemetry off and logging down; what the caller has set for a start-up time or a level stays."""
    for name, value in SETTINGS.items():
        if name in {"DO_NOT_TRACK", "PREFECT_SERVER_ANALYTICS_ENABLED", "GX_ANALYTICS_ENABLED"}:
            os.environ[name] = value
        else:
            os.environ.setdefault(name, value)
