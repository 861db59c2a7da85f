"""Where the contracts, the templates and the sample exports lie.

A wheel carries them inside the package; in a checkout they stand beside ``pipeline/``, where people edit
them. Nothing else in takeup asks where it was installed.
"""

from __future__ import annotations

from pathlib import Path

from takeup.errors import OurFault

_PACKAGE = Path(__file__).resolve().parent


def schemas_dir() -> Path:
    """Folder of the feeds' contracts and of the order's schema.

    Raises
    ------
    OurFault
        If the installation lacks the folder.
    """
    return _folder("schemas", _PACKAGE)


def templates_dir() -> Path:
    """Folder of every word and shape a reader sees.

    Raises
    ------
    OurFault
        If the installation lacks the folder.
    """
    return _folder("templates", _PACKAGE)


def samples_dir() -> Path:
    """Folder of the invented plant's exports.

    Raises
    ------
    OurFault
        If the installation lacks the folder.
    """
    return _folder("sample_exports", _PACKAGE)


def _folder(name: str, package: Path) -> Path:
    """The folder inside the package if it is there, else in the checkout around it."""
    installed = package / name
    checkout = package.parents[1] / name
    for folder in (installed, checkout):
        if folder.is_dir():
            return folder
    raise OurFault(
        f"the folder '{name}' is missing from this installation",
        where=str(installed),
        why=f"takeup reads its {name.replace('_', ' ')} from there",
        todo="install takeup again from its wheel, or run it from a whole checkout",
    )
