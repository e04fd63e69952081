"""What a person sees of a defect in haltere: one sentence, and where the details lie."""

from __future__ import annotations

import platform
import sys
import tempfile
import traceback
from collections.abc import Sequence
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from platformdirs import user_log_path


def defect_sentence(error: BaseException, args: Sequence[str] | None = None) -> str:
    """Write the traceback to a file and say so in one sentence.

    Parameters
    ----------
    error : BaseException
        What nobody expected.
    args : sequence of str, optional
        Words of the call; those of the process when left out.
    """
    words = list(sys.argv[1:] if args is None else args)
    said = "".join(
        [
            f"haltere {_version()}, Python {platform.python_version()}, {platform.platform()}\n",
            f"call: haltere {' '.join(words)}\n\n",
            *traceback.format_exception(error),
        ]
    )
    where = _write(said)
    details = f" with the file {where}" if where else ""
    return f"this is a defect in haltere ({type(error).__name__}), please report it{details}."


def _version() -> str:
    try:
        return version("haltere")
    except PackageNotFoundError:
        return "(not installed)"


def _write(text: str) -> Path | None:
    name = f"defect-{datetime.now():%Y%m%d-%H%M%S-%f}.txt"
    for folder in (user_log_path("haltere"), Path(tempfile.gettempdir())):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            path = folder / name
            path.write_text(text, encoding="utf-8")
        except OSError:
            continue
        return path
    return None
