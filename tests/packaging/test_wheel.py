"""What a user installs works without the checkout, and its front door opens quickly."""

import os
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PIP = [sys.executable, "-m", "pip", "--disable-pip-version-check"]
HEAVY = ["apscheduler", "duckdb", "jinja2", "matplotlib", "pandas", "pandera", "scipy"]


def run(command: list[str | Path], cwd: Path) -> str:
    """Run one command as a user would; its output is the message when it fails."""
    surroundings = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
    done = subprocess.run(command, cwd=cwd, env=surroundings, text=True, capture_output=True, check=False)
    assert done.returncode == 0, f"{command} ended with {done.returncode}\n{done.stdout}\n{done.stderr}"
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """The wheel, built from this checkout without a network."""
    folder = tmp_path_factory.mktemp("wheel")
    run([*PIP, "wheel", "--no-index", "--no-deps", "--no-build-isolation", "-w", folder, ROOT], ROOT)
    (built,) = folder.glob("takeup-*.whl")
    return built


@pytest.fixture(scope="module")
def home(wheel, tmp_path_factory) -> Path:
    """An empty environment with the wheel; the libraries are lent by the one that runs the tests."""
    folder = tmp_path_factory.mktemp("home")
    venv.create(folder)
    python = folder / "bin" / "python"
    run([*PIP, "--python", python, "install", "--no-index", "--no-deps", wheel], folder)
    (site_packages,) = folder.glob("lib/python*/site-packages")
    # A plain line in a .pth file lends the folder alone: the editable install of the checkout stays behind.
    (site_packages / "lent.pth").write_text(sysconfig.get_path("purelib"), "utf-8")
    return folder


def test_the_wheel_carries_every_folder_the_code_reads(wheel):
    with zipfile.ZipFile(wheel) as archive:
        carried = set(archive.namelist())
    for name in ("schemas", "templates", "sample_exports"):
        files = [
            path for path in (ROOT / name).rglob("*") if path.is_file() and "__pycache__" not in path.parts
        ]
        assert files, f"{name}/ is empty"
        missing = {f"takeup/{path.relative_to(ROOT).as_posix()}" for path in files} - carried
        assert missing == set()


def test_the_wheel_runs_from_its_own_files(home, tmp_path):
    where = (
        "import takeup.resources as r; print(r.__file__, r.schemas_dir(), r.templates_dir(), r.samples_dir())"
    )
    for path in run([home / "bin" / "python", "-c", where], tmp_path).split():
        assert Path(path).is_relative_to(home)


def test_the_demo_runs_from_a_wheel_in_an_empty_folder(home, tmp_path):
    run([home / "bin" / "takeup", "demo"], tmp_path)
    (page,) = tmp_path.rglob("queue/current/index.html")
    assert "<h1" in page.read_text("utf-8")


def test_help_stays_light(home, tmp_path):
    """Asking for help loads none of the heavy libraries, which together cost a second or more."""
    script = f"""
import sys
from takeup.cli import main
sys.argv = ["takeup", "--help"]
try:
    status = main()
except SystemExit as end:
    status = end.code
assert not status, status
print("heavy:", *(name for name in {HEAVY!r} if name in sys.modules))
"""
    shown = run([home / "bin" / "python", "-c", script], tmp_path)
    assert "nightly" in shown, "the commands are listed"
    assert shown.splitlines()[-1].split() == ["heavy:"]
