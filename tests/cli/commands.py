"""Commands run in this process, with what they print."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from takeup.cli import main

if TYPE_CHECKING:
    import pytest


@dataclass(frozen=True)
class Done:
    """How a command ended."""

    code: int
    out: str
    err: str

    @property
    def told(self) -> Any:
        """What it printed, as JSON."""
        return json.loads(self.out)


class Shell:
    """Runs commands and takes what they print."""

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self._capsys = capsys

    def __call__(self, *words: str | Path) -> Done:
        self._capsys.readouterr()
        try:
            code = main([str(word) for word in words])
        except SystemExit as ended:  # argparse: usage
            code = int(ended.code or 0)
        printed = self._capsys.readouterr()
        assert "Traceback" not in printed.out + printed.err
        return Done(code, printed.out, printed.err)
