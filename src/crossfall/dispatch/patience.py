"""Long work in the background while somebody may still say stop."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from typing import TypeVar

Result = TypeVar("Result")

_ASK_EVERY_S = 0.1


def patiently(
    works: Sequence[Callable[[], Result]],
    ask: Callable[[], None],
    *,
    stop: Callable[[], None] = lambda: None,
) -> list[Result]:
    """Run all ``works`` side by side and call ``ask`` ten times a second until they are done.

    When ``ask`` raises, ``stop`` is called, the works are left to end by themselves and the error
    goes on at once. An error of a work is raised here.

    Examples
    --------
    >>> patiently([lambda: 1, lambda: 2], lambda: None)
    [1, 2]
    """
    results: dict[int, Result] = {}
    errors: list[BaseException] = []

    def run(k: int, work: Callable[[], Result]) -> None:
        try:
            results[k] = work()
        except BaseException as error:  # noqa: BLE001 - it is raised again by the caller
            errors.append(error)

    threads = [
        threading.Thread(target=run, args=(k, work), daemon=True) for k, work in enumerate(works)
    ]
    for thread in threads:
        thread.start()
    try:
        for thread in threads:
            while thread.is_alive():
                thread.join(_ASK_EVERY_S)
                ask()
                if errors:
                    break
    except BaseException:
        stop()
        raise
    if errors:
        stop()
        raise errors[0]
    return [results[k] for k in range(len(works))]
