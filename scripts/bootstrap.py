"""Make a private environment beside the checkout, so that one command is enough on a bare machine.

Standard library only, and syntax that an old Python can still parse: on a Python that is too old
the person must read one plain sentence, not a SyntaxError.
"""

import hashlib
import importlib.util
import json
import os
import platform
import subprocess
import sys
from pathlib import Path
from typing import NoReturn

ROOT = Path(__file__).resolve().parent.parent
NEWEST_TRIED = (3, 13)


def stop(message: str) -> NoReturn:
    """Leave with one sentence that says what is missing and what to do."""
    sys.stdout.flush()
    sys.exit("reefscan: " + message)


if sys.version_info < (3, 11):
    stop(
        "this is Python %d.%d (%s); Python 3.11 or newer is needed. Install one and call this script "
        "with it, for example: python3.11 %s"
        % (sys.version_info[0], sys.version_info[1], sys.executable, sys.argv[0])
    )


def _need_venv() -> None:
    """Refuse early where the system's Python came without the parts that make environments."""
    missing = [name for name in ("venv", "ensurepip") if importlib.util.find_spec(name) is None]
    if not missing:
        return
    version = "%d.%d" % sys.version_info[:2]
    if platform.system() == "Linux":
        hint = f"on Debian and Ubuntu: sudo apt-get install python{version}-venv"
    else:
        hint = "install Python from its own installer, with pip"
    stop(f"this Python ({sys.executable}) lacks {' and '.join(missing)}, so it cannot make .venv; {hint}")


def _python_in(folder: Path) -> Path:
    return folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def _wanted(extras: str, constraints: Path) -> str:
    """Digest of all that decides what is installed; equal digests need no pip and no network."""
    digest = hashlib.sha256()
    for part in ((ROOT / "pyproject.toml").read_bytes(), constraints.read_bytes(), extras.encode()):
        digest.update(hashlib.sha256(part).digest())
    return digest.hexdigest()


def environment(extras: str, constraints: str = "constraints.txt", folder: str = ".venv") -> Path:
    """Make the environment if it is missing or out of date; return its Python.

    Parameters
    ----------
    extras : str
        Extras of the package, comma separated; may be empty.
    constraints : str
        File in ``.ci`` that pins every version.
    folder : str
        Where the environment lies, relative to the checkout.
    """
    home = ROOT / folder
    python = _python_in(home)
    pins = ROOT / ".ci" / constraints
    stamp = home / "reefscan-installed.json"
    wanted = _wanted(extras, pins)
    if python.exists() and stamp.exists():
        have = json.loads(stamp.read_text(encoding="utf-8"))
        # An environment with more in it (all that the tests want) also serves the demo.
        if wanted in have.values():
            return python

    _need_venv()
    if sys.version_info[:2] > NEWEST_TRIED:
        print(
            "reefscan: Python %d.%d is newer than any this was tried on (%d.%d); going on."
            % (*sys.version_info[:2], *NEWEST_TRIED),
            file=sys.stderr,
        )
    if not python.exists():
        print(f"Making {folder} with {sys.executable} ...", flush=True)
        if subprocess.run([sys.executable, "-m", "venv", str(home)], check=False).returncode:
            stop(f"could not make {home}; is the disk full, or the folder not writable?")
    print(f"Installing into {folder} (a minute or two the first time) ...", flush=True)
    target = str(ROOT) + (f"[{extras}]" if extras else "")
    command = [
        str(python),
        "-m",
        "pip",
        "install",
        "--quiet",
        "--disable-pip-version-check",
        "--prefer-binary",
    ]
    done = subprocess.run([*command, "--constraint", str(pins), "--editable", target], check=False)
    if done.returncode:
        stop(
            "pip could not install the packages (its own words are above). Usually there is no network, or a "
            "proxy is needed: pip reads HTTPS_PROXY, and PIP_FIND_LINKS names a folder of wheels. "
            "Nothing outside %s was touched; run this again when it is mended." % folder
        )
    have = {}
    if stamp.exists():
        have = json.loads(stamp.read_text(encoding="utf-8"))
    have = {name: digest for name, digest in have.items() if digest == wanted}
    have[extras or "plain"] = wanted
    if extras:
        have["plain"] = _wanted("", pins)
    stamp.write_text(json.dumps(have), encoding="utf-8")
    return python
