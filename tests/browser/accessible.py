"""What axe-core (Deque Systems, MPL-2.0), run in the page, finds against WCAG 2.2 at levels A and AA."""

from __future__ import annotations

from typing import Any

from axe_playwright_python.base import AXE_SCRIPT  # the script alone: another library drives the browser

# axe-core's own names of the success criteria: https://github.com/dequelabs/axe-core/blob/develop/doc/API.md#axe-core-tags
LEVELS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
ASK = """const done = arguments[arguments.length - 1];
axe.run(document, {runOnly: arguments[0], resultTypes: ['violations']})
    .then(found => done({passes: found.passes.length, violations: found.violations}))
    .catch(error => done({error: String(error)}));"""


def violations(driver: Any) -> list[str]:
    """A line for each element that breaks a rule: rule, element, what is wrong. Raises RuntimeError where none was run."""
    driver.execute_script(AXE_SCRIPT)
    found = driver.execute_async_script(ASK, LEVELS)
    if "error" in found or not found["passes"] + len(found["violations"]):
        raise RuntimeError(f"the page was not checked: {found}")
    return [
        f"{rule['id']}: {' '.join(map(str, node['target']))}: {node['failureSummary'].splitlines()[-1].strip()}"
        for rule in found["violations"]
        for node in rule["nodes"]
    ]
