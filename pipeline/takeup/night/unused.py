"""What a site put into its settings and templates that nothing reads."""

from __future__ import annotations

from collections.abc import Mapping

from takeup.derive.derivation import Derived
from takeup.documents.environment import templates_named
from takeup.resources import templates_dir
from takeup.site.settings import Settings

#: where the sentences about a site's own rules stand
_OWN = ("sentences/rule/", "sentences/rulebook/")


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


def unused_templates(templates: Mapping[str, str]) -> tuple[str, ...]:
    """The files of a site's own templates that nothing draws.

    Drawn are those that take the place of one of ours, the sentences about the site's own rules, and what
    either of them imports, includes or extends.

    Parameters
    ----------
    templates : mapping
        Name to text of each of the site's own.
    """
    ours = templates_dir()
    drawn: set[str] = set()
    wanted = {name for name in templates if name.startswith(_OWN) or (ours / name).is_file()}
    while wanted:
        drawn |= wanted
        wanted = {
            other for name in wanted for other in templates_named(templates[name])
        } & templates.keys() - drawn
    return tuple(name for name in templates if name not in drawn)
