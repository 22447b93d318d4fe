"""The charts' promise, measured: `python -m tests.bench.charts [--quick | --calibrate]`.

Prints, from fixed seeds, side by side with the limits: delays with everything known, false alarms of plants drawn at
random with learned baselines and while they learn, the delay there beside the best tuned detector, the onset and its
interval, and what charting costs. About twenty-five minutes on one core; --quick takes about one and only shows that it runs. --calibrate
prints the table of limits that models.charts.boundary keeps.
"""

from __future__ import annotations

import argparse
import time

from tests.bench import charts_beside, charts_cost, charts_known, charts_plants
from tests.bench.machine import machine


def main() -> None:
    """Run the benchmark."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.charts", description=__doc__)
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--quick", action="store_true", help="small samples: shows that it runs, proves nothing")
    how.add_argument("--calibrate", action="store_true", help="print the table of limits instead")
    chosen = parser.parse_args()
    began = time.perf_counter()
    print(machine())
    if chosen.calibrate:
        charts_known.show_calibration()
    elif chosen.quick:
        _run(paths=2000, points=400_000, plants=6, charts=3, size=2000, priced=3, onsets=40, year=0.05)
    else:
        _run(paths=40_000, points=10_000_000, plants=200, charts=6, size=5000, priced=60, onsets=400, year=1.0)
    print(f"\n{time.perf_counter() - began:.0f} s")


def _run(paths: int, points: int, plants: int, charts: int, size: int, priced: int, onsets: int, year: float) -> None:
    charts_known.show_delays(paths, points)
    charts_plants.show_false_alarms(plants, charts, size)
    charts_plants.show_days_apart(plants // 5, 3, size)
    charts_plants.show_learning(max(plants // 4, 3), charts)
    charts_plants.show_price(priced, 20)
    charts_beside.show_beside(max(plants * 3 // 10, 3), 180)
    charts_known.show_onsets(onsets)
    charts_cost.show_cost(year)


if __name__ == "__main__":
    main()
