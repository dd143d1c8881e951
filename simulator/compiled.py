"""How functions are compiled, and how a cache on disk is kept from serving an older physics.

The compiler keeps what it made beside the source, and takes it again as long as the file in which
the function stands is unchanged. It does not look at the files of functions that this one calls. So
a compiled function calls into its own file only; the one that calls across files
(`run_kernel.run`) has a fingerprint of all of them in the key of its cache.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any, TypeVar

from numba import njit

_Function = TypeVar("_Function", bound=Callable[..., Any])
_OPTIONS: dict[str, Any] = {"cache": True, "error_model": "numpy", "nogil": True}
_BARE: dict[str, Any] = {**_OPTIONS, "_nrt": False}


def compiled(function: _Function) -> _Function:
    """Compile what makes no array: it need not count references to the arrays that it is given.

    In a function as small as a derivative, counting takes four fifths of the time.
    """
    made: _Function = njit(**_BARE)(function)
    return made


def inlined(function: _Function) -> _Function:
    """Compile the same way what is so small that a call would cost more than its work."""
    made: _Function = njit(**_BARE, forceinline=True)(function)
    return made


def looping(function: _Function) -> _Function:
    """Compile what makes the arrays; without a cache of its own."""
    made: _Function = njit(**{**_OPTIONS, "cache": False})(function)
    return made


def kept(function: _Function) -> _Function:
    """Compile, and keep under a key that has in it what the function takes from around it."""
    made: _Function = njit(**_OPTIONS)(function)
    return made


def fingerprint(*modules: ModuleType) -> str:
    """Return one fingerprint of the source of some modules, and of how this one compiles them."""
    files = [__file__, *(str(module.__file__) for module in modules)]
    return hashlib.sha256(b"".join(Path(file).read_bytes() for file in files)).hexdigest()
