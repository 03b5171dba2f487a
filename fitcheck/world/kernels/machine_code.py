"""The door to numba: from Python functions to machine code.

A bare entry point gets a wrapper that C can call: addresses and lengths in the place of
arrays. All that it reaches is optimised once more as a whole; what is left must not ask
anything of numba or Python, or the code could not stand alone.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import llvmlite.binding as llvm
import numba
import numpy as np
from numba import carray, types  # type: ignore[attr-defined]
from numba.core import event

from fitcheck.world.kernels import kept
from fitcheck.world.kernels.waits import wait_begins

# What may be left to the C library: it gives the same wherever it is.
OUTSIDE = {
    "acos", "asin", "atan", "atan2", "cos", "exp", "fabs", "floor", "ceil", "fmod", "hypot", "log",
    "memcpy", "memmove", "memset", "pow", "sin", "sincos", "sqrt", "tan",
}  # fmt: skip
RESULTS = {"None": types.void, "int": types.int64, "float": types.float64}


class _Waits(event.Listener):
    """Tells of each kernel of ours that is compiled, but not of those that become part of it."""

    def __init__(self) -> None:
        self._begun = 0

    def on_start(self, event: Any) -> None:
        self._begun += 1
        module = event.data["dispatcher"].py_func.__module__
        if self._begun == 1 and module.startswith("fitcheck."):
            wait_begins(module.split(".")[1])

    def on_end(self, event: Any) -> None:
        self._begun -= 1


event.register("numba:compile", _Waits())


def dispatcher(function: Callable[..., Any]) -> Any:
    """What numba compiles when it is called; dividing by zero gives inf or nan, as in numpy."""
    return numba.njit(error_model="numpy")(function)


def kept_dispatcher(function: Callable[..., Any]) -> Any:
    """As `dispatcher`, kept on disk by numba, if there is a place to keep it."""
    try:
        return numba.njit(error_model="numpy", cache=True)(function)
    except RuntimeError:
        # No folder of the package or of the user can be written to.
        return dispatcher(function)


def machine_code(function: Any, result: str, values: tuple[Any, ...]) -> bytes:
    """Object file of a kernel; its only symbol is the kernel's name.

    Args:
        function: the kernel, with its name.
        result: annotation of what it gives back.
        values: arguments of the kinds it is to be called with.

    Raises:
        TypeError: the code cannot stand alone.
    """
    wrapper = _Wrapper(function)
    code = ", ".join([wrapper.argument(value) for value in values])
    compiled = numba.cfunc(RESULTS[result](*wrapper.kinds), error_model="numpy")(wrapper.made(code))
    whole = llvm.parse_assembly(compiled.inspect_llvm())
    for one in (*whole.functions, *whole.global_variables):
        if not one.is_declaration and one.name != compiled.native_name:
            one.linkage = "internal"
    machine = kept.target_machine()
    passes = llvm.create_pass_builder(machine, llvm.create_pipeline_tuning_options(speed_level=3))
    passes.getModulePassManager().run(whole, passes)
    missing = {one.name for one in (*whole.functions, *whole.global_variables) if one.is_declaration}
    missing = {name for name in missing if not name.startswith("llvm.")} - OUTSIDE
    if missing:
        raise TypeError(
            f"{function.name} allocates or may raise: its code asks for {', '.join(sorted(missing))}"
        )
    whole.get_function(compiled.native_name).name = function.name
    return bytes(machine.emit_object(whole))


class _Wrapper:
    """Parameters and text of a function that C can call, and the names in it."""

    def __init__(self, function: Any) -> None:
        self.names: dict[str, Any] = {"inner": function, "carray": carray}
        self.parameters: list[str] = []
        self.kinds: list[Any] = []

    def argument(self, value: Any) -> str:
        """Text of the argument that the kernel gets."""
        if isinstance(value, np.ndarray):
            start = self._parameter(types.CPointer(numba.from_dtype(value.dtype)))
            lengths = [self._parameter(types.int64) for _ in value.shape]
            return f"carray({start}, ({', '.join(lengths)},))"
        if hasattr(value, "_fields"):
            self.names[type(value).__name__] = type(value)
            return f"{type(value).__name__}({', '.join([self.argument(inner) for inner in value])})"
        return self._parameter(numba.typeof(value))

    def _parameter(self, kind: Any) -> str:
        self.kinds.append(kind)
        self.parameters.append(f"p{len(self.parameters)}")
        return self.parameters[-1]

    def made(self, arguments: str) -> Callable[..., Any]:
        """The function itself."""
        text = f"def outer({', '.join(self.parameters)}):\n    return inner({arguments})\n"
        exec(text, self.names)
        made: Callable[..., Any] = self.names["outer"]
        return made
