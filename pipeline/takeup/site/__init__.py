"""A site: one folder with its settings, inbox, archive, ledger, store, queue and log."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from takeup.errors import SettingsError, UsageError
from takeup.ledger import Ledger
from takeup.resources import templates_dir
from takeup.site.folders import Folders
from takeup.site.settings import Settings, read_settings

__all__ = ["Site", "new_site"]


@dataclass(frozen=True)
class Site:
    """A site as it stands: its folders and its settings."""

    folders: Folders
    settings: Settings

    @classmethod
    def open(cls, root: Path) -> Site:
        """The site in a folder.

        Raises
        ------
        UsageError
            If the folder is not a site.
        SettingsError
            If its settings cannot be used.
        """
        folders = Folders(Path(root)).existing()
        try:
            text = folders.settings.read_bytes().decode("utf-8")
        except UnicodeDecodeError as error:
            raise SettingsError(
                f"byte {error.start} is not UTF-8",
                where=str(folders.settings),
                todo="Save the file as UTF-8.",
            ) from error
        return cls(folders, read_settings(text))

    @property
    def zone(self) -> ZoneInfo:
        """The site's civil time zone."""
        return self.settings.zone

    @property
    def inbox(self) -> Path:
        """Where exports arrive."""
        return self.folders.root / self.settings.inbox

    def nights(self) -> list[dict[str, Any]]:
        """The ledger's records of the nights told here, oldest first.

        Raises
        ------
        UsageError
            If there is none.
        """
        nights = Ledger(self.folders.ledger).nights()
        if not nights:
            raise UsageError(
                "no night was told here yet",
                where=str(self.folders.root),
                todo="Run 'takeup nightly' first.",
            )
        return nights

    def wait(self, wait_seconds: float | None) -> float:
        """Seconds to wait for others who hold the site: as given, else as the settings say."""
        return self.settings.wait_seconds if wait_seconds is None else wait_seconds

    @property
    def template_dirs(self) -> tuple[Path, ...]:
        """The site's own templates, then ours."""
        return (self.folders.templates, templates_dir())


NEW_SETTINGS = """\
# Settings of a takeup site. README.md of takeup says what can stand here.
#
# Exports go into inbox/. Back up archive/ and ledger/: store/ and queue/ come back from them. templates/ is
# for words of your own. log/ says what each night's steps took, and holds the traceback of any fault of ours.

[site]
name = {name}
time_zone = {zone}

# Exports named after their feed (run_hours_2026-08-31.csv) in commas, points and year-month-day need no
# source. Anything else is mapped here, never guessed:
#
# [source.tape]
# feed = "elongation_readings"
# files = ["tape_*.csv"]
# delimiter = ";"
# decimal = ","
# date_order = "dmy"
# clock = "12"                    # where times bear AM or PM
# headers = {{ "Chain" = "strand", "Length" = "length_mm" }}
# units = {{ length_mm = "in" }}
# words = {{ occasion = {{ "R" = "routine" }} }}

# A value of your own in place of a default of the trade says who answers for it:
#
# [machine."EL-11".limits]
# conveyor_percent.value = 2.0
# conveyor_percent.reason = "tight casing"
# conveyor_percent.by = "chain steward"
# conveyor_percent.on = 2026-01-05
# conveyor_percent.review_by = 2027-01-05
"""


def new_site(root: Path, *, name: str, time_zone: str) -> Site:
    """Make a site in a folder, new or not.

    Raises
    ------
    UsageError
        If a site or a file stands there already.
    SettingsError
        If the time zone is unknown.
    """
    folders = Folders(Path(root))
    if folders.settings.exists():
        raise UsageError("a site stands here already", where=str(root), todo="Name a new folder.")
    if root.is_file():
        raise UsageError("a file is called so", where=str(root), todo="Name a new folder.")
    text = NEW_SETTINGS.format(name=_toml(name), zone=_toml(time_zone))
    try:
        settings = read_settings(text)
    except SettingsError as problem:  # of a file that was never written
        raise SettingsError(problem.what, why=problem.why, todo=f"{problem.todo} No site was made.") from None
    folders.make()
    folders.settings.write_text(text, encoding="utf-8")
    return Site(folders, settings)


def _toml(text: str) -> str:
    """A TOML basic string."""
    escaped = "".join(
        f"\\u{ord(letter):04x}" if ord(letter) < 32 or ord(letter) == 127 else letter
        for letter in text.replace("\\", "\\\\").replace('"', '\\"')
    )
    return f'"{escaped}"'
