"""A deployment as docker-compose.yml describes it: its files agree, and its processes really run."""

from __future__ import annotations

import http.client
import json
import os
import re
import secrets
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests.runs.workers import wait_for
from worksprog import settings as settings_file
from worksprog.bootstrap import debian
from worksprog.bootstrap.places import PYTHON, ROOT
from worksprog.bootstrap.processes import Child
from worksprog.bootstrap.services import (
    free_port,
    postgresql_server,
    redis_server,
    temporary_folder,
)

COMPOSE = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))
OURS = ("migrate", "web", "worker")
SET_BY_COMPOSE_ALONE = {"POSTGRES_PASSWORD"}


def names_in_settings() -> set[str]:
    text = (ROOT / "worksprog/settings.py").read_text(encoding="utf-8")
    return set(re.findall(r"env\.\w+\(\s*\"([A-Z_]+)\"", text))


def example() -> tuple[dict[str, str], set[str]]:
    """The values that .env.example gives, and every name it speaks of."""
    given, named = {}, set()
    for line in (ROOT / ".env.example").read_text(encoding="utf-8").splitlines():
        match = re.fullmatch(r"(# )?([A-Z_]+)=(.*)", line)
        if match:
            named.add(match.group(2))
            if not match.group(1):
                given[match.group(2)] = match.group(3)
    return given, named


def production(**changes: str) -> dict[str, str]:
    kept = {name: os.environ[name] for name in ("PATH", "HOME", "LANG") if name in os.environ}
    return {**kept, **example()[0], "SECRET_KEY": secrets.token_urlsafe(50), **changes}


def run_manage(*arguments: str, env: dict[str, str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [PYTHON, "manage.py", *arguments],
        cwd=ROOT,
        env=env,
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_example_names_every_setting_and_no_other() -> None:
    assert example()[1] == names_in_settings() | SET_BY_COMPOSE_ALONE


@pytest.mark.parametrize("service", OURS)
def test_compose_sets_only_names_that_settings_read(service: str) -> None:
    assert set(COMPOSE["services"][service]["environment"]) <= names_in_settings()
    assert COMPOSE["services"][service]["env_file"] == ".env"


def test_compose_is_whole() -> None:
    services = COMPOSE["services"]
    assert set(services) == {*OURS, "database", "broker"}
    for name, service in services.items():
        for needed, how in service.get("depends_on", {}).items():
            assert needed in services, name
            if how["condition"] == "service_healthy":
                assert "healthcheck" in services[needed], needed
        for volume in service.get("volumes", []):
            assert volume.split(":")[0] in COMPOSE["volumes"], name
        if name != "migrate":
            assert service["healthcheck"]["test"], name
            assert service["restart"] == "unless-stopped", name
    variables = re.findall(r"\$\{([A-Z_]+)", (ROOT / "docker-compose.yml").read_text())
    assert set(variables) <= set(example()[0])


def test_compose_gives_the_database_and_broker_their_own_names() -> None:
    environment = COMPOSE["services"]["web"]["environment"]
    assert "@database:5432/" in environment["DATABASE_URL"]
    assert environment["CELERY_BROKER_URL"].startswith("redis://broker:")
    assert environment["DEBUG"] == "False"
    files = [volume.split(":")[1] for volume in COMPOSE["services"]["web"]["volumes"]]
    assert environment["MEDIA_ROOT"] in files


def test_the_image_runs_as_nobody_in_particular() -> None:
    text = (ROOT / "Dockerfile").read_text(encoding="utf-8")
    last = text.split("\nFROM ")[-1]
    assert text.count("FROM ") == 2
    assert re.search(r"^USER worksprog$", last, re.MULTILINE)
    assert last.index("USER worksprog") < last.index("CMD")


def test_the_image_has_the_volumes_folders_under_its_own_user() -> None:
    """A volume mounted where the image has no folder belongs to root, and nothing can be written."""
    last = (ROOT / "Dockerfile").read_text(encoding="utf-8").split("\nFROM ")[-1]
    made = re.search(r"install --directory --owner worksprog --group worksprog (.+)", last)
    assert made
    mounted = {volume.split(":")[1] for volume in COMPOSE["services"]["web"]["volumes"]}
    assert mounted <= set(made.group(1).split())


def test_the_image_has_the_libraries_that_the_set_up_looks_for() -> None:
    last = (ROOT / "Dockerfile").read_text(encoding="utf-8").split("\nFROM ")[-1]
    assert [name for name in debian.LIBRARIES.values() if f" {name}" not in last] == []


def test_the_deployment_check_is_clean(tmp_path: Path) -> None:
    env = production(VAR_DIR=str(tmp_path / "var"), MEDIA_ROOT=str(tmp_path / "files"))
    done = run_manage("check", "--deploy", "--fail-level", "WARNING", env=env)
    assert done.returncode == 0, done.stderr
    assert "no issues" in done.stdout


def test_the_examples_own_key_is_refused(tmp_path: Path) -> None:
    env = production(VAR_DIR=str(tmp_path), SECRET_KEY=example()[0]["SECRET_KEY"])
    done = run_manage("check", env=env)
    assert done.returncode != 0
    assert "SECRET_KEY is the one of .env.example" in done.stderr


def as_here(service: str, **swapped: str) -> list[str]:
    """The service's own command, with its program taken from this environment."""
    command = [swapped.get(word, word) for word in COMPOSE["services"][service]["command"]]
    return [str(Path(sys.executable).parent / command[0]), *command[1:]]


class Deployment:
    """Pages and worker on a private PostgreSQL and Redis, started by the commands of the file."""

    def __init__(self, *, port: int, env: dict[str, str]) -> None:
        self.port, self.env = port, env

    def get(self, path: str, **headers: str) -> tuple[int, dict[str, str], bytes]:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            connection.request("GET", path, headers={"Host": "works.example.org", **headers})
            answer = connection.getresponse()
            return answer.status, dict(answer.getheaders()), answer.read()
        finally:
            connection.close()

    def is_healthy(self) -> bool:
        try:
            return self.get("/healthz", Host="localhost")[0] == 200
        except OSError:
            return False

    def python(self, code: str) -> str:
        done = run_manage("shell", "--verbosity", "0", "--command", code, env=self.env)
        assert done.returncode == 0, done.stderr
        return done.stdout.strip().splitlines()[-1]


@pytest.fixture(scope="module")
def deployment() -> Iterator[Deployment]:
    if (
        debian.postgresql_bin() is None or debian.missing_test_programs() is not None
    ) and "CI" not in os.environ:
        pytest.skip("PostgreSQL or Redis is not installed; “make test” installs them")
    with (
        temporary_folder() as folder,
        postgresql_server(folder) as database,
        redis_server(folder) as broker,
    ):
        port = free_port()
        env = production(
            DATABASE_URL=database,
            CELERY_BROKER_URL=broker,
            VAR_DIR=str(folder / "var"),
            MEDIA_ROOT=str(folder / "files"),
            RUN_SWEEP_EVERY_S="1",
        )
        for arguments in (["migrate", "--noinput"], ["collectstatic", "--noinput"]):
            done = run_manage(*arguments, env=env)
            assert done.returncode == 0, done.stderr
        web = as_here("web", **{"0.0.0.0:8000": f"127.0.0.1:{port}"})
        worker = [*as_here("worker"), "--include", "tests.runs.jobs"]
        children = [
            Child("web", web, env=env, log=folder / "web.log"),
            Child("worker", worker, env=env, log=folder / "worker.log"),
        ]
        try:
            made = Deployment(port=port, env=env)
            wait_for("the pages to be healthy", made.is_healthy)
            yield made
        finally:
            for child in children:
                child.ask_to_stop()
            for child in children:
                child.make_stop(within_s=30)


@pytest.mark.jobs
def test_pages_are_served_over_https_only(deployment: Deployment) -> None:
    status, headers, _ = deployment.get("/sign-in/")
    assert (status, headers["Location"]) == (301, "https://works.example.org/sign-in/")
    status, headers, body = deployment.get("/sign-in/", **{"X-Forwarded-Proto": "https"})
    assert status == 200
    assert "Sign in" in body.decode()
    assert "max-age=31536000" in headers["Strict-Transport-Security"]
    assert "default-src 'none'" in headers["Content-Security-Policy"]
    assert deployment.get("/sign-in/", Host="elsewhere.example")[0] == 400


@pytest.mark.jobs
def test_static_files_are_hashed_compressed_and_kept(deployment: Deployment) -> None:
    _, _, body = deployment.get("/sign-in/", **{"X-Forwarded-Proto": "https"})
    found = re.search(r"/static/css/sheet\.[0-9a-f]{12}\.css", body.decode())
    assert found
    asked = {"X-Forwarded-Proto": "https", "Accept-Encoding": "gzip"}
    status, headers, _ = deployment.get(found.group(), **asked)
    assert status == 200
    assert headers["Content-Encoding"] == "gzip"
    assert "immutable" in headers["Cache-Control"]


@pytest.mark.jobs
def test_a_long_job_is_done(deployment: Deployment) -> None:
    asked = deployment.python(
        "import tests.runs.jobs\n"
        "from worksprog.runs.services import request_run\n"
        "run = request_run(club=None, kind='tests.adds', inputs={'numbers': [40, 2]}, by=None)\n"
        "print(run.uuid)"
    )
    look = (
        "import json\nfrom worksprog.runs.models import Run\n"
        f"run = Run.objects.get(uuid='{asked}')\n"
        "print(json.dumps([run.state, run.outcome, run.error]))"
    )
    seen: list[Any] = []

    def has_ended() -> bool:
        seen[:] = json.loads(deployment.python(look))
        return seen[0] not in ("queued", "running")

    wait_for("the job to end", has_ended)
    assert (seen[0], seen[1]["sum"]) == ("done", 42)


def test_machine_code_of_other_arithmetic_is_not_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calc = tmp_path / "worksprog" / "calc"
    calc.mkdir(parents=True)
    (calc / "kernel.py").write_text("from worksprog.calc.other import HALF\n")
    (calc / "other.py").write_text("HALF = 0.5\n")
    monkeypatch.setattr(settings_file, "BASE_DIR", tmp_path)
    before = settings_file._mark_of_the_arithmetic()
    assert settings_file._mark_of_the_arithmetic() == before
    (calc / "other.py").write_text("HALF = 0.2\n")
    assert settings_file._mark_of_the_arithmetic() != before
