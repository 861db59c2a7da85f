"""What a site put into its settings and templates that nothing reads."""

from __future__ import annotations

from collections.abc import Iterable

from takeup.derive.derivation import Derived
from takeup.resources import templates_dir
from takeup.site.settings import Settings

#: Where the sentences of a site's own rules stand.
_OWN = "sentences/rule/"


def unused_overrides(settings: Settings, derived: Derived) -> tuple[str, ...]:
    """The tables of overrides for a machine or strand that no register and no reading names."""
    known = {
        "machine": {*derived.machines["machine"], *derived.lives["machine"]},
        "strand": set(derived.lives["strand"]),
    }
    return tuple(
        sorted(
            f'[{kind}."{name}".{section}]'
            for section, layers in settings.layers.items()
            for kind, named in (("machine", layers.machine), ("strand", layers.strand))
            for name in named
            if name not in known[kind]
        )
    )


def unused_templates(names: Iterable[str]) -> tuple[str, ...]:
    """The files of a site's own templates that take the place of none of ours and are no rule's sentence."""
    ours = templates_dir()
    return tuple(name for name in names if not name.startswith(_OWN) and not (ours / name).is_file())
