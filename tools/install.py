"""Build the environment in `.venv` from the lock files: `python3 tools/install.py run|dev`.

Standard library only: this runs before anything is installed. A stamp in `.venv` holds a digest of
what was installed, so that a second call returns at once.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
PYTHON = VENV / ("Scripts" if os.name == "nt" else "bin") / "python"
LOCKS = {"run": "requirements.lock", "dev": "requirements-dev.lock"}


def fail(sentence: str) -> None:
    """Print one sentence and leave with exit code 2."""
    sys.exit(print(f"Hearmark cannot be installed: {sentence}", file=sys.stderr) or 2)


def digest(profile: str) -> str:
    """What the stamp holds: the lock, the project file, and this Python's version."""
    names = (LOCKS[profile], "pyproject.toml", "tools/install.py")
    content = b"".join((ROOT / name).read_bytes() for name in names)
    return hashlib.sha256(content + sys.version.encode()).hexdigest()


def pip(arguments: list[str], total: int = 0) -> None:
    """Run pip; show one moving line that says which of `total` packages is on the way."""
    command = [str(PYTHON), "-m", "pip", "install", "--disable-pip-version-check", "--progress-bar", "off", *arguments]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, cwd=ROOT)
    tail: list[str] = []
    seen = 0
    end = "\r" if sys.stdout.isatty() else "\n"
    for line in process.stdout or ():
        tail = [*tail[-30:], line]
        found = re.match(r"(?:Collecting|Requirement already satisfied:) ([\w.-]+)", line)
        if total and found:
            seen += 1
            if end == "\r" or seen % 10 == 0:
                print(f"  {min(seen, total):3d} of {total} packages: {found[1]:<32}", end=end, flush=True)
        elif total and line.startswith("Installing collected packages"):
            print(f"  unpacking {total} packages, about a minute{'':<20}", flush=True)
    if process.wait():
        sys.stderr.write("".join(tail))
        fail("pip stopped with the lines above; without a network, put the wheels in a folder named by PIP_FIND_LINKS.")


def python_environment(profile: str) -> None:
    """Create `.venv` if need be, install the lock with hashes and the project itself."""
    if sys.version_info < (3, 11):  # noqa: UP036 - the Python that runs this may be older
        fail(f"this is Python {sys.version.split()[0]}, it needs 3.11 or newer; try `make PYTHON=python3.11 run`.")
    lock = ROOT / LOCKS[profile]
    total = sum(1 for line in lock.read_text().splitlines() if re.match(r"[A-Za-z0-9]", line))
    print(f"Installing {total} packages into .venv (once; some 200 MB to fetch) ...", flush=True)
    if not PYTHON.exists() and subprocess.run([sys.executable, "-m", "venv", str(VENV)], check=False).returncode:
        shutil.rmtree(VENV, ignore_errors=True)
        fail("Python cannot make virtual environments here; on Debian install the package python3-venv.")
    pip(["--require-hashes", "-r", str(lock)], total)
    pip(["--no-deps", "--no-build-isolation", "-e", "."])
    print("Compiling the fast loops (once) ...", flush=True)
    subprocess.run([str(PYTHON), "-m", "hearmark.warm"], cwd=ROOT, check=False)


def system_packages() -> dict[str, str]:
    """Name and purpose of each Debian package in the table beside this file."""
    lines = (ROOT / "tools" / "system-packages.txt").read_text().splitlines()
    pairs = (line.split(None, 1) for line in lines if line and not line.startswith("#"))
    return {pair[0]: pair[1] for pair in pairs}


def missing_packages() -> list[str]:
    """Those of the table that dpkg does not know as installed; empty where there is no dpkg."""
    if not shutil.which("dpkg-query"):
        return []
    command = ["dpkg-query", "-W", "-f", "${Package} ${db:Status-Status}\n", *system_packages()]
    text = subprocess.run(command, capture_output=True, text=True, check=False).stdout
    there = {line.split()[0] for line in text.splitlines() if line.endswith(" installed")}
    there |= {"npm"} if shutil.which("npm") else set()
    return [name for name in system_packages() if name not in there]


def system_environment() -> None:
    """Debian packages by apt where root may, else a line for each that is missing; then the page's checkers by npm."""
    missing = missing_packages()
    if missing and shutil.which("apt-get") and hasattr(os, "geteuid") and os.geteuid() == 0:
        print(f"Installing Debian packages: {' '.join(missing)}", flush=True)
        environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
        subprocess.run(["apt-get", "update", "-qq"], env=environment, check=False)
        command = ["apt-get", "install", "-y", "-qq", "--no-install-recommends", *missing]
        subprocess.run(command, env=environment, check=False, stdout=subprocess.DEVNULL)
        missing = missing_packages()
    for name in missing:
        print(f"Not installed: {name}; without it: {system_packages()[name]}.", flush=True)
    if shutil.which("npm") and (ROOT / "package-lock.json").exists() and not (ROOT / "node_modules").exists():
        subprocess.run(["npm", "ci", "--no-audit", "--no-fund", "--silent"], cwd=ROOT, check=False)


def main() -> None:
    """Install the profile named on the command line, unless its stamp says that it is there."""
    profile = sys.argv[1] if len(sys.argv) == 2 else ""
    if profile not in LOCKS:
        fail("say `python3 tools/install.py run` or `python3 tools/install.py dev`.")
    if profile == "dev":
        system_environment()
    stamp = VENV / f"hearmark-{profile}.stamp"
    wanted = digest(profile)
    if stamp.exists() and stamp.read_text() == wanted:
        return
    python_environment(profile)
    stamp.write_text(wanted)


if __name__ == "__main__":
    main()
