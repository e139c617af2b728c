"""What a surface has open: which list, what is typed, which page. Keys change it, nothing else does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from runner.core.stamp import Stamp
from runner.core.view import Field, Line, Option, View

PAGE = 9
"""As many entries of a list as there are digits to choose them by."""

Mode = Literal["step", "menu", "look"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """The state of a surface. ``Panel()`` is the one to begin with; a caller need not look inside.

    ``mode`` ``menu`` is an open list (``chosen`` are the positions chosen in it, from ``root`` on), ``look`` the
    steps before and after. ``passed`` are the keys that were pressed lately and had passed a gate.
    """

    mode: Mode = "step"
    token: str = ""
    root: Literal["menu", "options"] = "menu"
    chosen: tuple[int, ...] = ()
    buffer: str = ""
    points: tuple[str, ...] = ()
    way: int = 0
    page: int = 0
    cursor: int = 0
    far: bool = False
    leave: bool = False
    say: str = ""
    passed: tuple[tuple[str, Stamp], ...] = ()


def fresh(panel: Panel, view: View) -> Panel:
    """The panel for this view: what was typed or open for another question is dropped."""
    if panel.token == view.token and (panel.mode != "menu" or _opened(panel, view) is not None):
        return panel
    return closed(replace(panel, token=view.token))


def closed(panel: Panel) -> Panel:
    """The panel with nothing open and nothing typed."""
    return replace(panel, mode="step", root="menu", chosen=(), buffer="", points=(), way=0, page=0, say="")


def opened(panel: Panel, view: View) -> tuple[str, tuple[Option, ...], Field | None]:
    """What is open now: its title, the whole list, and the field, of which one is empty."""
    if panel.mode == "step":
        return "", view.options, view.field
    if panel.mode == "look":
        return "", (), None
    return _opened(panel, view) or ("", (), None)


def _opened(panel: Panel, view: View) -> tuple[str, tuple[Option, ...], Field | None] | None:
    title, options, field = "menu", tuple(view.menu), None
    if panel.root == "options":
        title, options = view.question, view.options
    for at in panel.chosen:
        if at >= len(options):
            return None
        title, options, field = options[at].text, options[at].sub, options[at].field
    return title, options, field


def numbered(options: Sequence[Option]) -> tuple[Option, ...]:
    """The options with the digits 1 to 9 as their keys; a longer list gets its keys page by page."""
    if len(options) > PAGE:
        return tuple(options)
    return tuple(o if o.key else replace(o, key=str(n)) for n, o in enumerate(options, 1))


def pages(count: int) -> int:
    """How many pages a list of so many entries has."""
    return max(1, -(-count // PAGE))


def page_of(options: tuple[Option, ...], page: int) -> tuple[tuple[int, Option], ...]:
    """The entries of one page with their positions, each with the key that chooses it.

    A list that fits on one page keeps the keys that it came with.
    """
    if len(options) <= PAGE:
        return tuple(
            (at, option if option.key else replace(option, key=str(at + 1))) for at, option in enumerate(options)
        )
    first = page % pages(len(options)) * PAGE
    return tuple((first + n, replace(option, key=str(n + 1))) for n, option in enumerate(options[first : first + PAGE]))


def lines(view: View) -> tuple[Line, ...]:
    """The steps to look at: what was done, what stands now, what is ahead."""
    now = Line(status="NOW", path=view.token, title=view.headline)
    return (*view.trail, now, *view.ahead)
