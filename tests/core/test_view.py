"""A row that is made when it is looked at reads like the row itself."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from runner.core.view import Later

ENDS = st.none() | st.integers(-12, 12)


@given(entries=st.lists(st.integers(), max_size=8), start=ENDS, stop=ENDS, step=st.none() | st.integers(1, 3))
def test_a_row_made_late_gives_what_the_whole_row_gives(
    entries: list[int], start: int | None, stop: int | None, step: int | None
) -> None:
    whole = tuple(entries)
    late = Later(lambda: len(whole), lambda many: whole[len(whole) - many :])
    assert late == whole
    assert len(late) == len(whole)
    assert (*late,) == whole
    assert late[start:stop:step] == whole[start:stop:step]
    assert [late[at] for at in range(-len(whole), len(whole))] == [*whole, *whole]


def test_the_end_of_a_row_is_made_without_its_beginning() -> None:
    asked: list[int] = []

    def last(many: int) -> tuple[int, ...]:
        asked.append(many)
        return tuple(range(20_000 - many, 20_000))

    late = Later(lambda: 20_000, last)
    assert late[-3:] == (19_997, 19_998, 19_999)
    assert late[-1] == 19_999
    assert asked == [3, 1]
