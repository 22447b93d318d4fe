"""How work on many things is done: one after the other here, or some of it elsewhere at the same time."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Protocol


class Share(Protocol):
    """Do `work` on each of the items; the answers in their order, whoever found them.

    work: a function of a module, or a partial of one, that changes nothing and whose answer depends on its arguments
    alone. then: what becomes of each answer here, in the order in which they come; without it they are returned.
    """

    def __call__(
        self, work: Callable[[Any], Any], items: Iterable[Any], then: Callable[[Any], Any] = ...
    ) -> list[Any]: ...


def as_it_is(answer: Any) -> Any:
    """Nothing becomes of it."""
    return answer


def one_by_one(work: Callable[[Any], Any], items: Iterable[Any], then: Callable[[Any], Any] = as_it_is) -> list[Any]:
    """All of it here, in order."""
    return [then(work(item)) for item in items]
