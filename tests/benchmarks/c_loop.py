"""The same loop in C: built from loop.c, given what the compiled kernel is given."""

from __future__ import annotations

import ctypes
import math
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator import control_kernel, kernel

SOURCE = Path(__file__).with_name("loop.c")
MOST_SPANS = 8
# Of `kernel.Machine.line`, in the order of its rows.
LINE = ("length", "roller_radius", "roller_inertia", "roller_drag")


def built(folder: Path, *options: str) -> Callable[..., None] | None:
    """Return the loop with the arguments of `run_kernel.run`; None where there is no gcc.

    Args:
        folder: where the library is put.
        options: of the compiler.
    """
    gcc = shutil.which("gcc")
    if gcc is None:
        return None
    library = folder / f"loop{'_'.join(options)}.so"
    command = [gcc, *options, "-std=c11", "-D_GNU_SOURCE", "-fPIC", "-shared", "-o", str(library)]
    subprocess.run([*command, str(SOURCE), "-lm"], check=True)
    run_in_c = ctypes.CDLL(str(library)).run
    structs = {name: struct(name) for name in ("Machine", "Sensor", "Controller")}

    def run(*arguments: Any) -> None:
        m, s, k, state, direction, memory, noise, events, pieces = arguments[:9]
        output_scans, reading_scans, record_every, line_speed, first_output = arguments[9:14]
        record, happened = arguments[14:]
        refuse_what_c_leaves_out(m, s, k)
        values = m._asdict() | {"spans": m.line.shape[1]}
        for name, row in zip(LINE, m.line, strict=False):
            values[name] = (ctypes.c_double * MOST_SPANS)(*row)
        broken_at = ctypes.c_double(math.nan)
        failed = run_in_c(
            filled(structs["Machine"], values), filled(structs["Sensor"], s._asdict()),
            filled(structs["Controller"], k._asdict()), pointer(state), pointer(direction),
            pointer(memory), pointer(noise), ctypes.c_int64(noise.size), pointer(events),
            ctypes.c_int64(len(events)), pointer(pieces), ctypes.c_int64(len(pieces)),
            ctypes.c_int64(output_scans), ctypes.c_int64(reading_scans),
            ctypes.c_int64(record_every), ctypes.c_double(line_speed),
            ctypes.c_double(first_output), pointer(record), ctypes.byref(broken_at),
        )  # fmt: skip
        if failed:
            raise MemoryError("the loop in C found no memory")
        happened[0] = broken_at.value

    return run


def struct(name: str) -> type[ctypes.Structure]:
    """Return the type that loop.c declares under a name."""
    text = re.sub(r"/\*.*?\*/", "", SOURCE.read_text(encoding="utf-8"), flags=re.S)
    body = re.search(rf"typedef struct \{{([^}}]*)\}} {name};", text)
    if body is None:
        raise ValueError(f"loop.c declares no {name}")
    fields: list[tuple[str, Any]] = []
    for kind, names in re.findall(r"(int64_t|double)\s+([^;]*);", body[1]):
        number = ctypes.c_int64 if kind == "int64_t" else ctypes.c_double
        for field in names.split(","):
            plain = field.strip().removesuffix("[MOST_SPANS]")
            fields.append((plain, number * MOST_SPANS if "[" in field else number))
    return type(name, (ctypes.Structure,), {"_fields_": fields})


def filled(made: type[ctypes.Structure], values: dict[str, Any]) -> Any:
    """Return a reference to a struct with the values of the same names."""
    return ctypes.byref(made(**{field[0]: values[field[0]] for field in made._fields_}))


def pointer(values: NDArray[Any]) -> ctypes.c_void_p:
    """Return where an array lies, which must be in one piece."""
    if not (values.flags.c_contiguous and values.dtype.itemsize == 8):
        raise ValueError("an array is not in one piece, or not of 8 bytes each")
    return ctypes.c_void_p(values.ctypes.data)


def refuse_what_c_leaves_out(
    m: kernel.Machine, s: control_kernel.Sensor, k: control_kernel.Controller
) -> None:
    """Raise ValueError where the machine has something that loop.c does not have."""
    has_more = {
        "a zone other than an unwind": not m.roll_first,
        "a device other than a brake": m.device != kernel.BRAKE,
        "more spans": m.line.shape[1] > MOST_SPANS,
        "runout of a roller": bool(np.any(m.line[kernel.ROLLER_RUNOUT, :-1])),
        "runout of the nip": m.nip_unevenness > 0.0,
        "rounded ramps": m.ramp_rounding > 0.0,
        "build-up in fast motion": m.time_compression > 1.0,
        "drift or steps of the reading": bool(s.drift or s.resolution),
        "a schedule, taper, derivative, deadband or feed": bool(
            k.schedule.size or k.taper or k.Td or k.deadband or k.feed_per_torque
        ),
        "rate limits": not (math.isinf(k.output_rate) and math.isinf(k.setpoint_rate)),
        "a hold on web break": k.break_level > -math.inf,
    }
    if any(has_more.values()):
        raise ValueError(f"loop.c has no {', no '.join(n for n, has in has_more.items() if has)}")
