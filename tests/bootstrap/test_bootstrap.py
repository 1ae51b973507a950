"""The set-up that needs nothing but Python: what it imports, what it locks, what it says when stopped."""

from __future__ import annotations

import ast
import errno
import fcntl
import json
import os
import re
import runpy
import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from tests.runs.workers import wait_for
from worksprog.bootstrap import commands, debian, demo, python_env, saying, vendor
from worksprog.bootstrap.places import ROOT, digest_of, is_stamped
from worksprog.bootstrap.saying import Stopped, why_it_failed

PACKAGE = ROOT / "worksprog" / "bootstrap"


@pytest.mark.parametrize(
    "module", sorted(PACKAGE.glob("*.py")), ids=[path.stem for path in sorted(PACKAGE.glob("*.py"))]
)
def test_only_pythons_own_library_is_imported(module: Path) -> None:
    tree = ast.parse(module.read_text(encoding="utf-8"))
    # inside.py alone runs where packages are installed, and imports them in its functions.
    nodes = tree.body if module.name == "inside.py" else list(ast.walk(tree))
    names = [alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names]
    names += [node.module or "" for node in nodes if isinstance(node, ast.ImportFrom)]
    foreign = [
        name
        for name in names
        if name.split(".")[0] not in sys.stdlib_module_names
        and not name.startswith("worksprog.bootstrap")
    ]
    assert foreign == []


def test_an_older_python_is_told_what_is_needed(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "version_info", (3, 9, 2, "final", 0))
    with pytest.raises(SystemExit) as stop:
        runpy.run_path(str(PACKAGE / "__main__.py"), run_name="__main__")
    assert stop.value.code == 1
    assert "Python 3.11 or newer; this is Python 3.9.2" in capsys.readouterr().err


def test_every_recipe_is_a_command_and_every_command_a_recipe() -> None:
    text = (ROOT / "Makefile").read_text(encoding="utf-8")
    called = set(re.findall(r"^\t@\$\(BOOTSTRAP\) ([a-z-]+)$", text, re.MULTILINE))
    assert called == set(commands.COMMANDS)
    assert len(re.findall(r"^\t", text, re.MULTILINE)) == len(called) + 1  # and help


def test_an_unknown_command_lists_the_known(capsys: pytest.CaptureFixture[str]) -> None:
    assert commands.main(["dmeo"]) == 2
    assert "demo-fresh" in capsys.readouterr().out


# What the lock files hold


@pytest.mark.parametrize("name", ["requirements", "requirements-test", "requirements-node"])
def test_python_locks_have_hashes_and_no_addresses(name: str) -> None:
    text = (ROOT / f"{name}.txt").read_text(encoding="utf-8")
    assert "://" not in text
    assert "--index-url" not in text and "--find-links" not in text
    entries = re.split(r"\n(?=[A-Za-z0-9])", text)
    assert entries and all("==" in entry and "--hash=sha256:" in entry for entry in entries)


def test_the_tests_lock_holds_the_applications_very_versions() -> None:
    def versions(name: str) -> dict[str, str]:
        text = (ROOT / name).read_text(encoding="utf-8")
        return dict(re.findall(r"^([A-Za-z0-9._-]+)==(\S+)", text, re.MULTILINE))

    ours, theirs = versions("requirements.txt"), versions("requirements-test.txt")
    assert {name: theirs.get(name) for name in ours} == ours


def test_the_npm_lock_has_hashes_and_no_addresses() -> None:
    lock = json.loads((ROOT / "package-lock.json").read_text(encoding="utf-8"))
    packages = {name: facts for name, facts in lock["packages"].items() if name}
    assert len(packages) > 5
    assert [name for name, facts in packages.items() if "resolved" in facts] == []
    assert [name for name, facts in packages.items() if "integrity" not in facts] == []
    wanted = json.loads((ROOT / "package.json").read_text(encoding="utf-8"))
    for name, version in {**wanted["dependencies"], **wanted["devDependencies"]}.items():
        assert packages[f"node_modules/{name}"]["version"] == version


def test_every_face_in_the_style_sheet_is_laid_out() -> None:
    css = (ROOT / "static/css/fonts.css").read_text(encoding="utf-8")
    asked = set(re.findall(r"url\(\"\.\./vendor/([^\"]+)\"\)", css))
    made = {target for target in vendor.font_files().values() if target.endswith(".woff2")}
    assert asked == made


# What is said when something stops it


def run_bootstrap(*arguments: str, **env: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "worksprog.bootstrap", *arguments],
        cwd=ROOT,
        env={**os.environ, **env},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def test_a_port_in_use_is_told_before_anything_is_done() -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        done = run_bootstrap("demo", PORT=str(port))
    assert done.returncode == 1
    assert f"Port {port} is in use by another program" in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize("port", ["abc", "0", "65536", "80.5", "-1"])
def test_a_port_that_is_none(port: str) -> None:
    done = run_bootstrap("demo", PORT=port)
    assert done.returncode == 1
    assert f"PORT={port} is not a port" in done.stderr


def test_a_second_demo_on_the_same_folder_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(demo, "VAR", tmp_path)
    with (tmp_path / ".demo-lock").open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        with pytest.raises(Stopped, match="running from this folder already"), demo._only_one():
            raise AssertionError("it went on")


@pytest.mark.parametrize(
    ("output", "words"),
    [
        ("error: [Errno 28] No space left on device", "The disk is full."),
        ("django.db.utils.OperationalError: database or disk is full", "The disk is full."),
        ("Temporary failure in name resolution", "no answer from the network"),
        ("npm error code EAI_AGAIN", "no answer from the network"),
        ("E: Unable to connect to mirror", "no answer from the network"),
        ("one\ntwo\nsomething else", "something else"),
    ],
)
def test_the_cause_of_a_failed_step_is_told(output: str, words: str) -> None:
    log = ROOT / "var" / "logs" / "step.log"
    told = why_it_failed(output, what="Fetching", log=log)
    assert told.startswith("Fetching stopped")
    assert words in told


def test_a_failed_step_leaves_its_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(saying, "LOGS", tmp_path)
    command = [sys.executable, "-c", "import sys; print('half way'); sys.exit(3)"]
    with pytest.raises(Stopped, match="half way"):
        saying.run_step(command, what="Trying", log="trial")
    assert (tmp_path / "trial.log").read_text() == "half way\n"


def test_a_disk_too_small_is_told_before_the_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(python_env, "VENV", tmp_path / ".venv")
    monkeypatch.setattr(python_env, "PYTHON", tmp_path / ".venv/bin/python")
    usage = shutil.disk_usage("/")._replace(free=int(1e9))
    monkeypatch.setattr(shutil, "disk_usage", lambda path: usage)
    with pytest.raises(Stopped, match=r"The disk is full.*2\.5 GB .* 1\.0 GB are free"):
        python_env.ensure_python()
    assert not (tmp_path / ".venv").exists()


def test_a_disk_that_fills_up_on_the_way_is_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fill(arguments: list[str]) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setitem(commands.COMMANDS, "demo", fill)
    assert commands.main(["demo"]) == 1
    assert "The disk is full." in capsys.readouterr().err


def test_a_fault_of_our_own_is_not_hidden(monkeypatch: pytest.MonkeyPatch) -> None:
    def fault(arguments: list[str]) -> int:
        raise OSError(errno.EIO, "input/output error")

    monkeypatch.setitem(commands.COMMANDS, "demo", fault)
    with pytest.raises(OSError, match="input/output"):
        commands.main(["demo"])


# What Debian leaves out

PANGO = debian.Missing(("libpango-1.0-0",), "drawing the PDF")


class Ran(list[list[str]]):
    """The commands that would have been run."""

    def step(self, command: Sequence[Any], **_: Any) -> None:
        self.append([str(part) for part in command])


@pytest.fixture
def ran(monkeypatch: pytest.MonkeyPatch) -> Ran:
    steps = Ran()
    monkeypatch.setattr(debian, "run_step", steps.step)
    return steps


def on_a_machine(monkeypatch: pytest.MonkeyPatch, *, user: int, programs: set[str]) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: user)
    monkeypatch.setattr(
        shutil, "which", lambda name: f"/usr/bin/{name}" if name in programs else None
    )


def test_root_installs_what_is_missing(monkeypatch: pytest.MonkeyPatch, ran: Ran) -> None:
    on_a_machine(monkeypatch, user=0, programs={"apt-get"})
    debian.install([PANGO, None, debian.Missing(("python3.11-venv",), "an environment")])
    assert ran[0] == ["apt-get", "update"]
    assert ran[1][:2] == ["apt-get", "install"]
    assert ran[1][-2:] == ["libpango-1.0-0", "python3.11-venv"]


def test_another_person_goes_by_sudo(monkeypatch: pytest.MonkeyPatch, ran: Ran) -> None:
    on_a_machine(monkeypatch, user=1000, programs={"apt-get", "sudo"})
    debian.install([PANGO])
    assert [command[0] for command in ran] == ["sudo", "sudo"]


def test_without_sudo_the_packages_are_named(monkeypatch: pytest.MonkeyPatch, ran: Ran) -> None:
    on_a_machine(monkeypatch, user=1000, programs={"apt-get"})
    with pytest.raises(Stopped, match=r"drawing the PDF.*apt-get install libpango-1\.0-0"):
        debian.install([PANGO])
    assert ran == []


def test_without_apt_the_packages_are_named(monkeypatch: pytest.MonkeyPatch, ran: Ran) -> None:
    on_a_machine(monkeypatch, user=0, programs=set())
    with pytest.raises(Stopped, match=r"libpango-1\.0-0.*no apt-get"):
        debian.install([PANGO])
    assert ran == []


def test_nothing_missing_asks_for_nothing(monkeypatch: pytest.MonkeyPatch, ran: Ran) -> None:
    on_a_machine(monkeypatch, user=1000, programs=set())
    debian.install([None, None])
    assert ran == []


def test_a_library_that_is_not_there_is_found_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(debian.LIBRARIES, "libno-such-thing.so.9", "libno-such-thing9")
    missing = debian.missing_libraries()
    assert missing is not None
    assert "libno-such-thing9" in missing.packages


# Stamps and processes


def test_a_stamp_holds_only_for_what_it_was_made_from(tmp_path: Path) -> None:
    lock, stamp = tmp_path / "lock", tmp_path / "stamp"
    lock.write_text("one")
    assert not is_stamped(stamp, digest_of(lock))
    stamp.write_text(digest_of(lock))
    assert is_stamped(stamp, digest_of(lock))
    assert not is_stamped(stamp, digest_of(lock, also="(3, 13)"))
    lock.write_text("two")
    assert not is_stamped(stamp, digest_of(lock))


@pytest.mark.skipif(sys.platform != "linux", reason="the kernel's own signal, Linux only")
def test_a_child_ends_with_a_killed_parent(tmp_path: Path) -> None:
    parent = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "import pathlib, signal, sys\n"
            "from worksprog.bootstrap.processes import Child\n"
            f"log = pathlib.Path({str(tmp_path)!r}) / 'child.log'\n"
            "child = Child('a child', [sys.executable, '-c', 'import signal; signal.pause()'],"
            " env={}, log=log)\n"
            "print(child.process.pid, flush=True)\n"
            "signal.pause()\n",
        ],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert parent.stdout is not None
    with parent.stdout:
        child = int(parent.stdout.readline())
    assert Path(f"/proc/{child}").exists()
    parent.send_signal(signal.SIGKILL)
    parent.wait()

    def is_gone() -> bool:
        try:
            state = Path(f"/proc/{child}/stat").read_text().rsplit(")", 1)[1].split()[0]
        except (FileNotFoundError, ProcessLookupError):
            return True
        return state == "Z"

    wait_for("the child to end", is_gone, within_s=10)
