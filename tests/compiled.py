"""The core, the chemistry, the rig and the stage compiled by mypyc, for a long campaign and for nothing else.

Promise: what is compiled is a copy in a folder that goes away, and a seed's story must be the same as the
interpreter's, or the campaign does not begin. Nothing else ever needs a compiler. It wants gcc or the like and takes
a minute on two cores, once for one state of the sources: the libraries are kept in the user's cache folder.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).parents[1]
CACHE = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "so2bench" / "compiled"
KEPT = 4  # builds, about 20 MB each; the oldest go
PARTS = ("core", "chemistry", "rig")
ALONE = ("monitor/terms.py", "tests/stage.py")
LEFT = ("__init__", "firmware", "serve", "recordings", "scenario")  # not asked for by a campaign
CHECK_SEED = "1000001"
# One C file a module, side by side on all cores, for gcc takes much longer over one file of all. More optimising took
# half as long again and ran no faster: most of the time goes into the interpreter's own objects.
_SETUP = """
import os
from concurrent.futures import ThreadPoolExecutor
from mypyc.build import mypycify
from setuptools import setup
from setuptools.command.build_ext import build_ext

class SideBySide(build_ext):
    def build_extensions(self):
        one = self.compiler.compile
        def compile(sources, **how):
            with ThreadPoolExecutor(os.cpu_count()) as pool:
                return [o for made in pool.map(lambda source: one([source], **how), sources) for o in made]
        self.compiler.compile = compile
        super().build_extensions()

modules = mypycify(
    ["--ignore-missing-imports", "--config-file=", *{files!r}], opt_level="1", debug_level="0", multi_file=True
)
setup(
    name="compiled", packages=[], py_modules=[], ext_modules=modules,
    script_args=["build_ext", "--inplace"], cmdclass={{"build_ext": SideBySide}},
)
"""


def sources() -> list[str]:
    """The files that are compiled, from the root on."""
    parts = [path for part in PARTS for path in sorted((ROOT / "monitor" / part).glob("*.py"))]
    return [path.relative_to(ROOT).as_posix() for path in parts if not path.name.startswith(LEFT)] + list(ALONE)


def key(files: list[str]) -> str:
    """What names one state of the sources, under this interpreter, in the cache."""
    told = sha256(f"{sys.version}\n{_SETUP}".encode())
    for name in files:
        told.update(f"\n{name}\n".encode() + (ROOT / name).read_bytes())
    return told.hexdigest()[:24]


def lay_out(folder: Path, cache: Path = CACHE) -> bool:
    """Lay a copy of the package and its tests into `folder`, compiled; give whether it had to be compiled now.

    Raises:
        RuntimeError: it does not compile; the message ends with what the compiler said.
    """
    for name in ("monitor", "tests"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
    files = sources()
    kept = cache / key(files)
    if kept.is_dir():
        shutil.copytree(kept, folder, dirs_exist_ok=True)
        return False
    (folder / "setup.py").write_text(_SETUP.format(files=files))
    done = subprocess.run([sys.executable, "setup.py"], cwd=folder, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise RuntimeError(f"it does not compile: {(done.stdout + done.stderr)[-1500:]}")
    shutil.rmtree(folder / "build")
    _keep(folder, kept)
    return True


def _keep(folder: Path, kept: Path) -> None:
    """Put the libraries into the cache, whole or not at all."""
    kept.parent.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory(dir=kept.parent) as making:
        for library in [*folder.rglob("*.so"), *folder.rglob("*.pyd")]:
            place = Path(making, "made", library.relative_to(folder))
            place.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(library, place)
        if not kept.exists():
            Path(making, "made").rename(kept)
    for old in sorted(kept.parent.iterdir(), key=lambda path: path.stat().st_mtime)[:-KEPT]:
        shutil.rmtree(old, ignore_errors=True)


def same_story(folder: Path) -> bool:
    """Whether a seed tells the same story compiled and interpreted."""
    ran = [run(["--only", CHECK_SEED], where, stdout=subprocess.PIPE) for where in (ROOT, folder)]
    return ran[0].stdout == ran[1].stdout and len(ran[0].stdout) > 0


def run(args: list[str], folder: Path = ROOT, stdout: int | None = None) -> subprocess.CompletedProcess[str]:
    """The campaign with these arguments, of the package that stands in `folder`."""
    command = [sys.executable, "-m", "tests.campaign", *args]
    return subprocess.run(command, cwd=folder, stdout=stdout, text=True, check=False)
