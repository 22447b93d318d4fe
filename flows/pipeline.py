"""The job as Prefect flows and tasks: the same steps, with retries, artifacts and schedules around them."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flows.quiet import quiet

quiet()

from prefect import flow, task  # noqa: E402  (settings first)
from prefect.artifacts import create_markdown_artifact, create_table_artifact  # noqa: E402
from prefect.cache_policies import NO_CACHE  # noqa: E402

from flows import printing  # noqa: E402
from flows.job import Job, read_job  # noqa: E402
from flows.work import print_due, work  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Iterator


Tell = Callable[[str], None]
# only writing pages is tried again: a reports folder on a share may be away for a moment, and writing twice harms nothing;
# the steps before share one transaction, which is either whole or not there
RETRIES = {"write_pages": 3, "print_page": 3}
TITLES = {
    "pull": "take the shift logs",
    "judge": "hold batches against the limits",
    "chart": "chart every line and kettle",
    "alert": "raise alerts",
    "picture": "gather what the pages show",
    "write_pages": "write the pages",
    "print_page": "write the page",
}


def _tasks(tell: Tell | None) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    def as_task(step: Callable[..., Any]) -> Callable[..., Any]:
        name = step.__name__
        made: Any = task(
            name=TITLES[name],
            retries=RETRIES.get(name, 0),
            retry_delay_seconds=2,
            cache_policy=NO_CACHE,
            persist_result=False,
        )(step)

        def told(*args: Any) -> Any:
            if tell:
                tell(TITLES[name])
            return made(*args)

        return told

    return as_task


@flow(name="loaftrace: pull shift logs", validate_parameters=False)
def pull_logs(job: Job, tell: Tell | None = None) -> dict[str, Any]:
    """The whole job as one flow: pull, check, chart, trace, report. Leaves the row account and a summary as artifacts."""
    result = work(job, _tasks(tell))
    create_table_artifact(
        key="row-account",
        description="received = accepted + waiting + quarantined + duplicate + superseded",
        table=[{"log": kind} | counts for kind, counts in result["rows"].items()],
    )
    create_markdown_artifact(key="summary", markdown=_summary(result))
    return result


def _summary(result: dict[str, Any]) -> str:
    from flows.spoken import spoken

    return "\n".join(f"- {line}" for line in spoken(result))


@flow(name="loaftrace: day report", validate_parameters=False)
def day_report(plant: str, store: str, out: str, date: str) -> str:
    """One production day's page from the store. date: YYYY-MM-DD."""
    return _report(plant, store, out, f"day:{date}")


@flow(name="loaftrace: month report", validate_parameters=False)
def month_report(plant: str, store: str, out: str, month: str) -> str:
    """One month's page from the store. month: YYYY-MM."""
    return _report(plant, store, out, f"month:{month}")


@flow(name="loaftrace: scheduled pull", validate_parameters=False)
def scheduled_pull(plant: str, logs: str, store: str, out: str) -> dict[str, Any]:
    """The main job from plain paths, as a schedule gives them; handed over where a service owns the store."""
    from flows import handing

    served = handing.over(Path(store), Path(logs))
    if served is not None:
        return {"files": served.files}
    return work(read_job(Path(plant), Path(logs), Path(store), Path(out)), _tasks(None))


@flow(name="loaftrace: pages and record", validate_parameters=False)
def record(job: Job, said: dict[str, Any]) -> list[str]:
    """What a service committed, put on record, and the pages that are due. said: rows, files and alerts of the commit."""
    create_table_artifact(
        key="row-account",
        description="received = accepted + waiting + quarantined + duplicate + superseded",
        table=[{"log": kind} | counts for kind, counts in said["rows"].items()],
    )
    create_table_artifact(key="files", table=said["files"])
    create_table_artifact(key="alerts-on", table=said["alerts"])
    return print_due(job, do=_tasks(None))


def _report(plant: str, store: str, out: str, page: str) -> str:
    from models import plant as plant_file
    from models.storage import store as stores

    con = stores.open_for_reading(Path(store))
    try:
        job = Job(plant_file.load(Path(plant)), "", Path(out), Path(store), Path(out))
        picture = _tasks(None)(printing.picture)(con, job, None, (page,))
    finally:
        con.close()
    return str(_tasks(None)(printing.print_page)(picture, page, Path(out), False))


def run_flow(job: Job) -> dict[str, Any]:
    """The job as a flow on the server that is configured. Raises RuntimeError, one line, where that cannot be reached."""
    return pull_logs(job)


def run_on_local_server(job: Job, tell: Tell) -> dict[str, Any]:
    """The job as a flow on a local server, started for it on loopback and stopped after it."""
    with local_server(tell):
        return pull_logs(job, tell)


@contextmanager
def local_server(tell: Tell, home: Path | None = None) -> Iterator[None]:
    """A Prefect server of this process's own. home: where its database stays; None: in a folder that goes with it."""
    import tempfile
    from contextlib import nullcontext

    from prefect.settings import PREFECT_API_URL, PREFECT_HOME, PREFECT_SERVER_EPHEMERAL_ENABLED, temporary_settings

    with (
        nullcontext(home)
        if home
        else tempfile.TemporaryDirectory(prefix="loaftrace-prefect-", ignore_cleanup_errors=True) as place,
        temporary_settings(
            updates={PREFECT_HOME: Path(place), PREFECT_SERVER_EPHEMERAL_ENABLED: True},
            restore_defaults={PREFECT_API_URL},
        ),
    ):
        tell("starting a local Prefect server")
        try:
            yield
        finally:  # also when it is interrupted: nothing of it may be left behind
            tell("stopping the local Prefect server")
            _stop_servers()


def reach_server() -> None:
    """Start the server of the settings in force where none is configured; returns once it answers."""
    from prefect.client.orchestration import get_client

    with get_client(sync_client=True) as client:
        client.hello().raise_for_status()


def _stop_servers() -> None:
    from prefect.server.api.server import SubprocessASGIServer

    for server in list(getattr(SubprocessASGIServer, "_instances", {}).values()):
        server.stop()


def is_cron(text: str) -> bool:
    """Whether the scheduler can read a text as a cron line."""
    from prefect.client.schemas.schedules import CronSchedule
    from pydantic import ValidationError

    try:
        CronSchedule(cron=text)
    except ValidationError:
        return False
    return True


def deployments(plant: Path, logs: Path, store: Path, out: Path, cron: str) -> list[Any]:
    """The three flows with their parameters: the pull on its schedule (plant's clock), day and month on call."""
    from prefect.schedules import Cron

    from models import plant as plant_file

    zone = plant_file.load(plant).timezone
    places = {"plant": str(plant), "store": str(store), "out": str(out)}
    return [
        scheduled_pull.to_deployment(
            "pull", parameters=places | {"logs": str(logs)}, schedule=Cron(cron, timezone=zone)
        ),
        day_report.to_deployment("day", parameters=places),
        month_report.to_deployment("month", parameters=places),
    ]


def serve(plant: Path, logs: Path, store: Path, out: Path, cron: str) -> None:
    """Serve the declared flows until stopped."""
    from prefect import serve as serve_all

    serve_all(*deployments(plant, logs, store, out, cron))
