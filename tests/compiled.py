"""The core, the chemistry and the rig compiled by mypyc, for a long campaign and for nothing else.

Promise: what is compiled is a copy in a folder that goes away, and a seed's story must be the same as the
interpreter's, or the campaign does not begin. Nothing else ever needs a compiler. It wants gcc or the like and
takes some minutes, which pays from a few hundred simulated hours on.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
PARTS = ("core", "chemistry", "rig")
LEFT = ("__init__", "firmware", "serve", "recordings", "scenario")  # not asked for by a campaign
CHECK_SEED = "1000001"
_SETUP = """
from mypyc.build import mypycify
from setuptools import setup
modules = mypycify(["--ignore-missing-imports", "--config-file=", *{files!r}], opt_level="1")
setup(name="compiled", packages=[], py_modules=[], ext_modules=modules, script_args=["build_ext", "--inplace"])
"""


def build(folder: Path) -> None:
    """Compile a copy of the package into `folder`.

    Raises:
        RuntimeError: it does not compile; the message ends with what the compiler said.
    """
    for name in ("monitor", "tests"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
    files = sorted(
        str(path.relative_to(folder))
        for part in PARTS
        for path in (folder / "monitor" / part).glob("*.py")
        if not path.name.startswith(LEFT)
    )
    (folder / "setup.py").write_text(_SETUP.format(files=files))
    done = subprocess.run([sys.executable, "setup.py"], cwd=folder, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise RuntimeError(f"it does not compile: {(done.stdout + done.stderr)[-1500:]}")


def same_story(folder: Path) -> bool:
    """Whether a seed tells the same story compiled and interpreted."""
    ran = [run(["--only", CHECK_SEED], where, stdout=subprocess.PIPE) for where in (ROOT, folder)]
    return ran[0].stdout == ran[1].stdout and len(ran[0].stdout) > 0


def run(args: list[str], folder: Path = ROOT, stdout: int | None = None) -> subprocess.CompletedProcess[str]:
    """The campaign with these arguments, of the package that stands in `folder`."""
    command = [sys.executable, "-m", "tests.campaign", *args]
    return subprocess.run(command, cwd=folder, stdout=stdout, text=True, check=False)
