"""The bytes of a practice log to its keys, or the reason why they are none."""

from __future__ import annotations

import json
from typing import Any

from simulator import Fault
from tuning.practice.drill import PracticeError

FORMAT, VERSION = "steadyspan practice log", 1
LARGEST_FILE = 2_000_000  # bytes


class LogError(PracticeError):
    """A log can't be written or used; `faults` lists everything that is wrong with it."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        self.faults = faults
        super().__init__("\n".join(str(fault) for fault in faults))


def parsed_log(data: bytes, name: str) -> dict[str, Any]:
    """Return the keys of a file that is a log of a version known here.

    Args:
        data: the file [bytes].
        name: of the file, for its faults.

    Raises:
        LogError: it is not.
    """
    allowed, found = "", None
    if len(data) > LARGEST_FILE:
        allowed = f"is larger than {LARGEST_FILE / 1e6:g} MB; a log takes some kB"
    else:
        try:
            found = json.loads(data.decode("utf-8-sig"), object_pairs_hook=_once)
            # JSON can spell half a character, which no text can hold.
            json.dumps(found, ensure_ascii=False).encode()
        except RecursionError:
            allowed = "lists or tables are nested too deep"
        except UnicodeDecodeError:
            allowed = "is not text in UTF-8; a log is a JSON file"
        except UnicodeEncodeError:
            allowed = "holds half a character (a lone surrogate)"
        except json.JSONDecodeError as error:
            allowed = f"is not JSON: {error.msg}, line {error.lineno}"
        except LogError as error:
            allowed = str(error)
        except ValueError:  # Python reads no whole number of thousands of digits
            allowed = "is not JSON that can be read: a number has too many digits"
    if allowed:
        raise LogError((Fault(name, "", "", allowed),))
    if not isinstance(found, dict) or found.get("format") != FORMAT:
        given = shown(found["format"]) if isinstance(found, dict) and "format" in found else ""
        raise LogError((Fault(name, "format", given, f'must be "{FORMAT}"'),))
    version = found.get("version")
    if type(version) is int and version > VERSION:
        allowed = f"is newer than this program, which reads version {VERSION}"
        raise LogError((Fault(name, "version", shown(version), allowed),))
    return found


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Make a table of pairs, of which JSON would drop what is given twice."""
    table: dict[str, Any] = {}
    for key, value in pairs:
        if key in table:
            raise LogError((Fault("", named(key), "", "is given twice"),))
        table[key] = value
    return table


def named(key: str) -> str:
    """Return a key as a fault can name it.

    Args:
        key: as it stands in the file.
    """
    return key if key.isascii() and key.isprintable() and len(key) <= 60 else shown(key)


def shown(value: Any) -> str:
    """Return a value as a fault can show it.

    Args:
        value: as it stands in the file [any].
    """
    if isinstance(value, dict | list):
        return "a table" if isinstance(value, dict) else "a list"
    text = json.dumps(value)
    return text if len(text) <= 60 else f"{text[:57]}…"
