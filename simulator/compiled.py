"""How functions are compiled, and how a cache on disk is kept from serving an older physics.

One function is compiled for Python to call, `run_kernel.run`; all others are compiled into it where
it calls them. Called from Python they are plain Python: nobody waits seconds for a compiler to
multiply two numbers.

The compiler keeps what it made beside the source, and takes it again as long as the file in which
the function stands is unchanged. It does not look at the files of functions that this one calls. So
the function that is kept carries a fingerprint of all of them in the name it is kept under.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any, TypeVar

from numba import njit
from numba.extending import register_jitable

_Function = TypeVar("_Function", bound=Callable[..., Any])
# No function makes an array, so none need count references to those that it is given: in a function
# as small as a derivative, counting takes four fifths of the time.
# All functions have the same options, or the compiler makes one twice where two others call it.
_OPTIONS: dict[str, Any] = {"error_model": "numpy", "_nrt": False, "forceinline": True}
_KEPT: dict[str, Any] = {**_OPTIONS, "cache": True, "nogil": True, "no_cfunc_wrapper": True}


def inlined(function: _Function) -> _Function:
    """Compile into what calls it: a call, with all its arguments, costs as much as its work."""
    made: _Function = register_jitable(**_OPTIONS)(function)
    return made


def kept(*modules: ModuleType) -> Callable[[_Function], _Function]:
    """Compile for Python to call, and keep as long as the source of these modules is the same."""

    def keep(function: _Function) -> _Function:
        function.__qualname__ += f"_{fingerprint(*modules)[:16]}"
        made: _Function = njit(**_KEPT)(function)
        return made

    return keep


def fingerprint(*modules: ModuleType) -> str:
    """Return one fingerprint of the source of some modules, and of how this one compiles them."""
    files = [__file__, *(str(module.__file__) for module in modules)]
    return hashlib.sha256(b"".join(Path(file).read_bytes() for file in files)).hexdigest()
