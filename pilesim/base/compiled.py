"""The decorators for compiled functions; their machine code is kept in the cache folder (`base/cache.py`)."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FunctionType
from typing import Any

from pilesim.base.cache import cache_folder

_FASTMATH = {"contract", "reassoc", "nsz", "arcp"}
CACHE_FOLDER = cache_folder()
os.environ["NUMBA_CACHE_DIR"] = str(CACHE_FOLDER)

import numba  # noqa: E402  (the folder must be set first)
from numba.core.registry import CPUDispatcher  # noqa: E402

setattr(numba.config, "CACHE_DIR", str(CACHE_FOLDER))  # noqa: B010  (for a numba imported earlier)
_OPTIONS: dict[str, Any] = {"cache": True, "error_model": "numpy", "fastmath": _FASTMATH, "nogil": True}
_njit = numba.njit(**_OPTIONS)
# the wrapper that takes arrays from Python is a fifth of what there is to compile, and parts need none
_OF_PARTS = {**_OPTIONS, "no_cpython_wrapper": True}
_OF_INLINED = {**_OF_PARTS, "forceinline": True}
_njit_part = numba.njit(**_OF_PARTS)
_njit_inlined = numba.njit(**_OF_INLINED)
_PLAIN: dict[Any, Any] = {}


class _Part(CPUDispatcher):
    """A compiled function without a way in from Python, where a call would end in a crash."""

    def __call__(self, *args: Any) -> Any:
        raise TypeError(f"{self.py_func.__name__} is compiled for other kernels only: mark it @compiled for Python")


def _part(dispatcher: Any) -> Any:
    dispatcher.__class__ = _Part
    return dispatcher


def compiled(function: Callable[..., Any]) -> Any:
    """Compile a function of scalars and arrays; the plain Python form stays at ``.py_func``."""
    return _njit(function)


def compiled_part(function: Callable[..., Any]) -> Any:
    """As `compiled`, but only other compiled functions can call it."""
    return _part(_njit_part(function))


def inlined(function: Callable[..., Any]) -> Any:
    """As `compiled_part`, always copied into its caller: for helpers that take many arrays or run per node."""
    return _part(_njit_inlined(function))


def compile_for(kernel: Any, *values: Any) -> tuple[Any, ...]:
    """Compile `kernel` for arguments of the types of `values`, or load it from the cache; returns the types."""
    types = tuple(numba.typeof(value) for value in values)
    kernel.compile(types)
    return types


def entry(kernel: Any, values: tuple[Any, ...]) -> Callable[..., Any]:
    """The machine code of `kernel` for arguments of the types of `values`, which it does not look at again: a call of so many
    arrays spends 30 us on their types. When `kernel` was called with them and has one code only, that is it."""
    known = kernel.signatures
    return kernel.get_overload(known[0] if len(known) == 1 else compile_for(kernel, *values))


def plain(function: Callable[..., Any]) -> Any:
    """The same function in plain Python, the compiled functions it calls too: for a few calls without compiling anything."""
    raw = getattr(function, "py_func", function)
    if raw not in _PLAIN:
        scope = dict(raw.__globals__)
        _PLAIN[raw] = FunctionType(raw.__code__, scope, raw.__name__, raw.__defaults__, raw.__closure__)
        for name in raw.__code__.co_names:
            if hasattr(scope.get(name), "py_func"):
                scope[name] = plain(scope[name])
    return _PLAIN[raw]


@contextmanager
def compilation_lock() -> Iterator[None]:
    """Hold the right to compile: two processes never compile into one folder at once."""
    try:
        import fcntl
    except ImportError:  # no advisory locks on this system; the worst case is work done twice
        yield
        return
    with open(CACHE_FOLDER / "lock", "w") as handle:
        fcntl.flock(handle, fcntl.LOCK_EX)
        try:
            yield
        finally:
            fcntl.flock(handle, fcntl.LOCK_UN)
