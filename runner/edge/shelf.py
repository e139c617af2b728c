"""Where procedure files lie: those that a person names, then those that ship with the program.

Only regular files of bounded size are read; what cannot be read comes back as a finding.
"""

import errno
import re
import stat
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from runner.core.finding import Finding, Place, clean, nearest, quote
from runner.edge.encoding import LARGEST
from runner.edge.schema import shipped

SUFFIX = ".yaml"
VOCABULARY = "vocabulary.yaml"
_MOST_FILES = 200
_LONGEST_NAME = 200
_CALL = re.compile(r"\bcall:\s*[\"']?([a-z0-9-]{1,60})")
_PROCEDURE = re.compile(r"^procedure\s*:", re.MULTILINE)
_FRAGMENT = re.compile(r"^fragment\s*:\s*true\b", re.MULTILINE)
_WHY = {
    errno.ENOENT: ("there is no such file", "check the name and the folder"),
    errno.ENOTDIR: ("a part of its path is not a folder", "check the path"),
    errno.EACCES: ("permission to read it is missing", "give yourself permission to read it"),
    errno.EPERM: ("permission to read it is missing", "give yourself permission to read it"),
    errno.ELOOP: ("its symbolic links lead in a circle", "name the file itself"),
    errno.ENAMETOOLONG: ("the name is too long", "check the name"),
}


class Loaded(NamedTuple):
    """The bytes of a procedure, its vocabulary and the fragments that it calls, by path; and its own path."""

    files: Mapping[str, bytes]
    main: str


@dataclass(frozen=True, slots=True)
class Shelf:
    """Folders that are looked through by name, in order, before what ships with the program."""

    folders: tuple[Path, ...] = ()

    def load(self, named: str) -> Loaded | tuple[Finding, ...]:
        """The files of the procedure with that path or name, or why they cannot be read."""
        main = self._meant(named)
        if isinstance(main, Finding):
            return (main,)
        data = _bytes_of(main)
        if isinstance(data, Finding):
            return (data,)
        files, found = {_shown(main): data}, list[Finding]()
        todo = [(main, name) for name in (VOCABULARY.removesuffix(SUFFIX), *_called(data))]
        while todo and len(files) < _MOST_FILES:
            caller, name = todo.pop()
            path = self._lying(name, caller.parent, main.parent) or self._alike(name, main.parent)
            if path is None or _shown(path) in files:
                continue
            more = _bytes_of(path)
            if isinstance(more, Finding):
                found.append(more)
                continue
            files[_shown(path)] = more
            todo += [(path, inner) for inner in _called(more)]
        return tuple(found) or Loaded(files, _shown(main))

    def available(self, *, fragments: bool = False) -> tuple[str, ...]:
        """The names of the procedures that can be run; with fragments, of those that others call as well."""
        names = {path.stem for path in self._every() if _is_procedure(path, fragments=fragments)}
        return tuple(sorted(names))

    def path_of(self, name: str) -> str:
        """Where the procedure of that name lies; the name itself if there is none."""
        path = self._lying(name)
        return name if path is None else _shown(path)

    def demo(self, name: str) -> Path:
        """A file that ships with the library beside its procedures, such as demo/car.yaml."""
        return shipped("procedures") / name

    def _meant(self, named: str) -> Path | Finding:
        """The file of a path; without a folder and a suffix it is a name to look for."""
        if "/" in named or "\\" in named or named.endswith((SUFFIX, ".yml")):
            path = Path(named)
            near = nearest(path.name, [one.name for one in _yaml_in(path.parent)])
            return path if near in (None, path.name) or _exists(path) else _missing(named, str(path.parent / near))
        path_of_name = self._lying(named)
        if path_of_name is not None:
            return path_of_name
        if _exists(Path(named)):
            return Path(named)
        return _missing(named, nearest(named, self.available(fragments=True)))

    def _lying(self, name: str, *before: Path) -> Path | None:
        places = (*before, *self.folders, shipped("procedures"))
        return next((path for one in places if _exists(path := one / f"{name}{SUFFIX}")), None)

    def _alike(self, name: str, beside: Path) -> Path | None:
        """The file that was probably meant: it is handed over so that the reader can say its name."""
        every = {path.stem: path for path in (*self._every(), *_yaml_in(beside))}
        return every.get(nearest(name, every) or "")

    def _every(self) -> Iterator[Path]:
        for folder in (*self.folders, shipped("procedures")):
            yield from _yaml_in(folder)


def _yaml_in(folder: Path) -> tuple[Path, ...]:
    try:
        return tuple(sorted(path for path in folder.iterdir() if path.suffix == SUFFIX))
    except (OSError, ValueError):
        return ()


def _exists(path: Path) -> bool:
    try:
        path.lstat()
    except (OSError, ValueError):
        return False
    return True


def _called(data: bytes) -> tuple[str, ...]:
    """The names of the fragments that the text calls, or seems to: one too many does no harm."""
    return tuple(dict.fromkeys(_CALL.findall(data.decode("utf-8", "replace"))))


def _is_procedure(path: Path, *, fragments: bool) -> bool:
    data = _bytes_of(path)
    text = "" if isinstance(data, Finding) else data.decode("utf-8", "replace")
    return bool(_PROCEDURE.search(text)) and (fragments or not _FRAGMENT.search(text))


def _bytes_of(path: Path) -> bytes | Finding:
    try:
        about = path.stat()
        if stat.S_ISDIR(about.st_mode):
            inside = ", ".join(one.name for one in _yaml_in(path)[:6])
            mend = f"name one of its files: {inside}" if inside else f"there is no {SUFFIX} file in it"
            return _finding(path, "this is a folder", mend)
        if not stat.S_ISREG(about.st_mode):
            return _finding(path, "this is not a regular file", f"name a {SUFFIX} file")
        if about.st_size > LARGEST:
            text = f"the file has {about.st_size:,} bytes; at most {LARGEST:,} are read"
            return _finding(path, text, "split it, or check that it is the right file")
        with path.open("rb") as file:
            return file.read(LARGEST)
    except OSError as error:
        why, mend = _WHY.get(error.errno or 0, ((error.strerror or "it cannot be read").lower(), "mend that"))
        return _finding(path, why, mend)
    except ValueError:
        return _finding(path, "this is no name of a file", "check the name")


def _missing(named: str, near: str | None) -> Finding:
    mend = f"did you mean '{near}'?" if near else "'witnessmark list' names those that there are"
    return _finding(Path(named), f"there is no procedure {quote(named)}", mend)


def _finding(path: Path, text: str, mend: str) -> Finding:
    return Finding(place=Place(clean(_shown(path))[:_LONGEST_NAME], 1, 1), check="file", text=text, help=mend)


def _shown(path: Path) -> str:
    """The path from where the person stands, if it lies below; else whole."""
    try:
        return str(path.relative_to(Path.cwd())) if path.is_absolute() else str(path)
    except (OSError, ValueError):
        return str(path)
