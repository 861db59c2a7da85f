"""The Jinja environment of every page and sentence, and the words for codes.

A site's own templates are looked at before ours, file by file. Every value is escaped, and a missing one
stops the page instead of leaving a gap that nobody sees.
"""

from __future__ import annotations

import hashlib
import tomllib
import traceback
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from jinja2 import BytecodeCache, Environment, FileSystemLoader, StrictUndefined, TemplateSyntaxError
from jinja2.meta import find_referenced_templates

from takeup.documents import filters
from takeup.errors import OurFault, SettingsError, TakeupError

if TYPE_CHECKING:
    from jinja2.bccache import Bucket

#: The file that holds the short name of every code; a site's own adds to ours and goes before it.
WORDS = "words.toml"


class Words:
    """The short name of every code, by kind: ``words("job", "measure")`` is "measure the chain".

    Parameters
    ----------
    template_dirs : sequence of Path
        Most important first.
    """

    def __init__(self, template_dirs: Sequence[Path]) -> None:
        self.kinds: dict[str, dict[str, str]] = {}
        for folder in reversed(template_dirs):
            path = folder / WORDS
            if not path.is_file():
                continue
            try:
                tables = tomllib.loads(path.read_text(encoding="utf-8"))
            except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
                raise SettingsError(
                    f"this is not readable TOML: {error}",
                    where=f"templates/{WORDS}",
                    todo="Mend the line it names.",
                ) from error
            for kind, names in tables.items():
                self.kinds.setdefault(kind, {}).update(names)

    def __call__(self, code: Any, kind: str) -> str:
        """The name of a code.

        Raises
        ------
        OurFault
            If the code has no name: a bare code would otherwise reach a reader.
        """
        code = filters.bare(code)
        name = self.kinds.get(kind, {}).get(slug(code))
        if name is None:
            raise OurFault(
                f"the {kind} {str(code)!r} has no name",
                where=f"{WORDS}, table [{kind}]",
                why="A code of the program would reach a page bare.",
                todo="A rule or word of your own needs its name in templates/words.toml of the site.",
            )
        return name


class _Compiled(BytecodeCache):
    """Templates compiled in this process, by their file, its content and the words in force.

    Whoever tells many nights would otherwise compile the same templates for each of them. The word of a code
    that a template spells out is compiled into it, so other words are another template.
    """

    #: more than we have; own templates of nights told again lie in another folder each night
    MOST = 1000
    _codes: ClassVar[dict[str, tuple[str, Any]]] = {}

    def __init__(self, word: Words) -> None:
        self._words = hashlib.sha256(repr(word.kinds).encode()).hexdigest()

    def get_source_checksum(self, source: str) -> str:
        return f"{super().get_source_checksum(source)} {self._words}"

    def load_bytecode(self, bucket: Bucket) -> None:
        checksum, code = self._codes.get(bucket.key, ("", None))
        if checksum == bucket.checksum:
            bucket.code = code

    def dump_bytecode(self, bucket: Bucket) -> None:
        if len(self._codes) >= self.MOST:
            self._codes.clear()
        self._codes[bucket.key] = (bucket.checksum, bucket.code)


def environment(template_dirs: Sequence[Path]) -> Environment:
    """The environment that draws every page and sentence.

    Parameters
    ----------
    template_dirs : sequence of Path
        Looked at in this order: a site's own templates first, ours last.

    Raises
    ------
    SettingsError
        If a template of the site's own is not UTF-8.
    """
    word = Words(template_dirs)
    for folder in template_dirs[:-1]:
        _refuse_other_encodings(folder)
    env = Environment(
        loader=FileSystemLoader([str(folder) for folder in template_dirs]),
        autoescape=True,
        auto_reload=False,  # an environment draws one night or one answer, all of it by the same templates
        bytecode_cache=_Compiled(word),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.filters.update(
        bare=filters.bare,
        capital=filters.capital,
        counted=filters.counted,
        day=filters.day,
        listed=filters.listed,
        number=filters.number,
        q=filters.quantity,
        setting=filters.setting_value,
        slug=slug,
        word=word,
        words=lambda codes, kind: filters.listed(word(code, kind) for code in filters.bare(codes)),
    )
    return env


def _refuse_other_encodings(folder: Path) -> None:
    for path in sorted(item for item in folder.rglob("*") if item.suffix in (".j2", ".css")):
        try:
            path.read_bytes().decode("utf-8")
        except UnicodeDecodeError as error:
            raise SettingsError(
                f"byte {error.start} of this template is not UTF-8",
                where=f"templates/{path.relative_to(folder).as_posix()}",
                todo="Save the file as UTF-8, then run this again.",
            ) from error


@contextmanager
def own_templates(template_dirs: Sequence[Path]) -> Iterator[None]:
    """Tell a mistake in a site's own template as one, with its line; others pass.

    Parameters
    ----------
    template_dirs : sequence of Path
        The site's own first, ours last.

    Raises
    ------
    SettingsError
        Naming the template and its line.
    """
    try:
        yield
    except TakeupError:
        raise
    except Exception as error:
        place = _line_of(error, template_dirs[:-1])
        if place is None:
            raise
        raise SettingsError(
            f"this template of the site cannot be drawn: {type(error).__name__}: {error}",
            where=place,
            why="A page with a gap would mislead whoever reads it.",
            todo="Mend the template or remove it, then run this again.",
        ) from error


def _line_of(error: Exception, folders: Sequence[Path]) -> str | None:
    """Template of one of the folders and line where an error came up; None where it came up elsewhere."""
    frames = traceback.extract_tb(error.__traceback__)
    met = [(frame.filename, frame.lineno) for frame in frames]
    if isinstance(error, TemplateSyntaxError):
        met.append((error.filename or "", error.lineno))
    for name, line in reversed(met):
        for folder in folders:
            if Path(name).is_relative_to(folder):
                return f"templates/{Path(name).relative_to(folder).as_posix()} line {line}"
    return None


def templates_named(text: str) -> set[str]:
    """The templates that one imports, includes or extends by name; none where it cannot be read.

    Examples
    --------
    >>> sorted(templates_named('{% import "sentences/ours.txt.j2" as say %}{% include "logo.html.j2" %}'))
    ['logo.html.j2', 'sentences/ours.txt.j2']
    """
    try:
        found = find_referenced_templates(Environment(autoescape=True).parse(text))
        return {name for name in found if name is not None}
    except TemplateSyntaxError:  # told when it is drawn, with its line
        return set()


def slug(value: Any) -> str:
    """The file name of a code: 'stop now' is ``stop_now``."""
    return str(value.value if isinstance(value, StrEnum) else value).replace(" ", "_")


def templates_key(template_dirs: Sequence[Path]) -> str:
    """SHA-256 over every template in force, so that a changed word draws its pages again."""
    digest = hashlib.sha256()
    for folder in template_dirs:
        for path in sorted(item for item in folder.rglob("*") if item.is_file()):
            name = path.relative_to(folder).as_posix().encode()
            content = path.read_bytes()
            digest.update(b"%d %s %d " % (len(name), name, len(content)) + content)
        digest.update(b"next folder")
    return digest.hexdigest()
